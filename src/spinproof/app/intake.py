"""Take a job in, and record what a head is made of and set to."""

from dataclasses import dataclass

from pydantic import TypeAdapter

from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.shop import shop_rules
from spinproof.ledger.entries import JobEntry
from spinproof.ledger.ledger import Ledger as Ledger
from spinproof.ledger.ledger import open_ledger
from spinproof.ledger.reading import Reading
from spinproof.model.channel_map import ChannelMap
from spinproof.model.configuration import Configuration
from spinproof.model.errors import DocumentError, GateClosedError
from spinproof.model.handover import ConfigurationEntry
from spinproof.model.head import HeadSpec
from spinproof.model.job import JobFile, Process
from spinproof.model.limit import LimitSet


@dataclass(frozen=True)
class HeadSetup:
    """Everything that a head's configuration fingerprint covers."""

    configuration: Configuration
    head: HeadSpec
    channels: ChannelMap
    limits: LimitSet


def open_shop_ledger(home: Home) -> Ledger:
    """Open the ledger of a home folder; a first call makes it."""
    return open_ledger(home.ledger_url, at=utc_now())


def take_in(ledger: Ledger, job: JobFile, *, by: str) -> JobEntry:
    """Take in a job: its order, machine, heads, shared module and agreed scope.

    Raises
    ------
    RecordError
        If the job, its machine or a head is in the ledger already.
    """
    kept = shop_rules() if job.process is Process.FULL else None
    with ledger.transaction(by, utc_now()) as records:
        return records.add_job(job, kept)


def configure(ledger: Ledger, setup: HeadSetup, *, by: str) -> ConfigurationEntry:
    """Record a head's configuration; a changed one closes the open campaign.

    Raises
    ------
    DocumentError
        If spec, channel map and configuration are not all of the same head.
    RecordError
        If the head is unknown, or has exactly this configuration already.
    GateClosedError
        If the head is out of scope, or a run of it is under way.
    """
    named = {
        "configuration": setup.configuration.head,
        "head spec": setup.head.designation,
        "channel map": setup.channels.head,
    }
    if len(set(named.values())) > 1:
        raise DocumentError(
            "the files are not all of one head: "
            + ", ".join(f"{kind} names {head}" for kind, head in named.items()),
            where=f"configuration of {setup.configuration.head}",
            mend="Give the files of one head.",
        )
    document = {
        "configuration": setup.configuration.to_document(),
        "head": setup.head.to_document(),
        "channels": setup.channels.to_document(),
        "limits": setup.limits.to_document(),
    }
    with ledger.transaction(by, utc_now()) as records:
        return records.set_configuration(setup.head.designation, document, setup.configuration.what)


def present_setup(reading: Reading, head: str) -> HeadSetup:
    """Give what a head is made of and set to at present.

    Raises
    ------
    GateClosedError
        If no configuration of the head is recorded.
    """
    history = reading.configurations(head)
    if not history:
        raise GateClosedError(
            "no configuration of the head is recorded, so nobody could say what was tested",
            where=f"head {head}",
            mend="Record its parts and settings first, with `spinproof configure`.",
        )
    text = reading.document(history[-1].fingerprint)
    return TypeAdapter(HeadSetup).validate_json(text, strict=False)
