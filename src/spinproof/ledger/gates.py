"""Gates: signatures by which a head passes its checkpoints."""

from datetime import datetime

from spinproof.ledger import rules
from spinproof.ledger import shop_tables as shop
from spinproof.ledger.checks import CheckRecords
from spinproof.ledger.gating import reasons_not_to_pass, refuse_closed
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.shop_entries import Meaning, SignatureEntry
from spinproof.ledger.standing import (
    covered_by,
    covered_times,
    covers_hash,
    gate_signature,
)
from spinproof.model.access import name_key
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError


class GateRecords(CheckRecords):
    """Changes to gates."""

    def sign_gate(
        self,
        head: str,
        checkpoint: Checkpoint,
        meaning: Meaning,
        *,
        role: str | None = None,
        dated: datetime | None = None,
    ) -> SignatureEntry:
        """Sign a gate: first who performed the work, then somebody else who verified it.

        Parameters
        ----------
        head : str
            Designation of the head.
        checkpoint : Checkpoint
            The gate.
        meaning : Meaning
            Performed, or verified; with the second the gate is passed.
        role : str, optional
            Role in which it is signed.
        dated : datetime, optional
            The date that the signature bears, if not now.

        Returns
        -------
        SignatureEntry
            The signature.

        Raises
        ------
        GateClosedError
            If the gate may not be passed, the signature bears an earlier date than a record that
            it covers, or the same person performed and verifies.
        """
        file = self._file(head)
        rules.require_in_scope(file.unit)
        file.require_rules()
        where = f"{checkpoint} of head {head}"
        if gate_signature(file, checkpoint) is not None:
            raise GateClosedError(
                "the gate is passed already", where=where, mend="Go on to the next checkpoint."
            )
        refuse_closed(reasons_not_to_pass(file, checkpoint), where)
        moment = self._moment(dated, file.unit.job)
        _require_later(file, checkpoint, moment, where)
        covered = covered_by(file, checkpoint)
        covers = covers_hash(covered)
        if meaning is Meaning.VERIFIED:
            _require_performed(file, checkpoint, covers, self._who, where)
        row = shop.Signature(
            unit=head,
            checkpoint=checkpoint.value,
            meaning=meaning.value,
            role=role,
            covers=covers,
            covered=dict(covered),
            fingerprint=file.fingerprint,
            waivers=sorted(set(file.waivers.values())),
            done_at=moment,
            who=self._who,
            at=self._at,
        )
        with self._keeping(head):
            self._add(row, "gate.sign", f"gate {checkpoint} of {head}")
        return self.signatures(head)[-1]


def _require_later(file: HeadFile, checkpoint: Checkpoint, moment: str, where: str) -> None:
    """Refuse a signature that is dated before a record that it covers.

    Raises
    ------
    GateClosedError
        If one is later.
    """
    late = {what: at for what, at in covered_times(file, checkpoint).items() if at > moment}
    if late:
        what, at = max(late.items(), key=lambda pair: pair[1])
        raise GateClosedError(
            f"the signature is dated {moment}, and {what}, which it covers, was made {at}",
            where=where,
            mend="Sign with the present date: a signature covers what was there when it was given.",
        )


def _require_performed(
    file: HeadFile, checkpoint: Checkpoint, covers: str, who: str, where: str
) -> None:
    performed = [
        s
        for s in file.signatures
        if s.checkpoint is checkpoint and s.meaning is Meaning.PERFORMED and s.covers == covers
    ]
    if not performed:
        raise GateClosedError(
            "nobody signed yet that these records are the work performed",
            where=where,
            mend='Have the person who did the work sign "performed" first; what was signed '
            "before a record changed has to be signed again.",
        )
    did = {name_key(performed[-1].who): performed[-1].who} | performers_of(file, checkpoint)
    if name_key(who) in did:
        raise GateClosedError(
            f"{who} did work that this gate covers, and cannot verify it",
            where=where,
            mend="Have another person look at the records and sign.",
        )


def performers_of(file: HeadFile, checkpoint: Checkpoint) -> dict[str, str]:
    """Give who made the checks that a gate covers.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    checkpoint : Checkpoint
        The gate.

    Returns
    -------
    dict of str to str
        Names by their key.
    """
    covered = set(covered_by(file, checkpoint).values())
    results = [c for c in file.checks if f"result {c.id}" in covered]
    measured = {number for c in results for number in c.measurements}
    names = [c.who for c in results] + [m.who for m in file.measurements if m.id in measured]
    return {name_key(name): name for name in names}
