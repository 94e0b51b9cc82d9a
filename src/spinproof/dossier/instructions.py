"""``VERIFY.txt``: how anyone checks a package, offline and with general tools alone."""

from spinproof.dossier.key_list import KEYS_FILE
from spinproof.dossier.keys import CERTIFICATE_FILE
from spinproof.dossier.sums import LIST_FILE, SIGNATURE_FILE
from spinproof.model.handover import Handover

COMMANDS = (
    f"openssl x509 -in {CERTIFICATE_FILE} -noout -fingerprint -sha256",
    f"openssl x509 -in {CERTIFICATE_FILE} -noout -pubkey > ../release-public.pem",
    f"openssl dgst -sha256 -verify ../release-public.pem -signature {SIGNATURE_FILE} {LIST_FILE}",
    f"sha256sum --strict --quiet -c {LIST_FILE}",
    "find . -type f | wc -l",
    "find . ! -type f ! -type d",
)
"""What to type inside the package, in order."""

EXPECTED = (
    "prints a fingerprint: compare it with the one that came to you another way",
    "takes the public key out of the certificate",
    "must print: Verified OK",
    "must print nothing",
    "must print {files}: the tool before does not see files that the list leaves out",
    "must print nothing: neither links nor anything else may lie in the package",
)
"""What each command shows."""

NOT_PROVEN = (
    "that a sensor sat on this machine, or was right: calibration speaks for that",
    "that the person at the keyboard was who they said",
    "that nothing happened before recording began, or off the record",
    "that a test was done which is not listed here",
    "that the machine is still as it was, after shipping",
    "the time: it is the shop's own clock, without an outside time stamp",
)
"""What a signature cannot show."""


def steps(listed_files: int) -> tuple[tuple[str, str], ...]:
    """Give each command with what it shows, for a package whose list names so many files."""
    files = str(listed_files + 2)
    return tuple(
        (command, shown.format(files=files))
        for command, shown in zip(COMMANDS, EXPECTED, strict=True)
    )


def instructions(handover: Handover, listed_files: int, fingerprint: str) -> str:
    """Give the text of ``VERIFY.txt``.

    Parameters
    ----------
    handover : Handover
        The records.
    listed_files : int
        How many files the list of sums names.
    fingerprint : str
        Fingerprint of the certificate, in groups.

    Returns
    -------
    str
        Plain text.
    """
    lines = [
        f"How to verify this package: job {handover.job}, head {handover.head}",
        "",
        *(["SIMULATED: the runs were made on a virtual head.", ""] if handover.simulated else []),
        f"The list {LIST_FILE} names {listed_files} files.",
        f"With the list itself and its signature the package has {listed_files + 2} files.",
        "",
        "1. Compare the fingerprint. The shop gave it to you another way: on paper or by",
        "   telephone. The one below came with the package, and proves nothing by itself.",
        f"   {KEYS_FILE} is the shop's list of keys when this was written; ask for the newest.",
        "",
        *_grouped(fingerprint),
        "",
        "2. With spinproof, offline and without an account:",
        "",
        '   spinproof verify FOLDER --fingerprint "the one you were given"',
        "",
        "3. Or in a browser, without a network: open verify.html, give the fingerprint, and choose",
        "   this folder. A page from the package proves least: whoever changed the package could",
        "   have changed it too. Take it from a package that you trust.",
        "",
        "4. Or with general tools, inside the folder of the package:",
        "",
    ]
    for command, shown in steps(listed_files):
        lines += [f"   {command}", f"      {shown}"]
    lines += [
        "",
        "A signature shows that these bytes have not changed since the holder of the key signed",
        "them. It does not show:",
        *(f"   - {text}" for text in NOT_PROVEN),
    ]
    return "\n".join(lines) + "\n"


def _grouped(fingerprint: str) -> tuple[str, str]:
    groups = fingerprint.split()
    return "   " + " ".join(groups[:8]), "   " + " ".join(groups[8:])
