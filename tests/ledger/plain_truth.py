"""What must hold of a head, worked out from the plain records and by no rule of the ledger."""

from datetime import date, datetime

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.shop_entries import Meaning, PartEntry, PartStepEntry, SignatureEntry
from spinproof.ledger.states import NonconformanceState, PartState, WaiverState
from spinproof.model.access import name_key
from spinproof.model.attestation import Balance
from spinproof.model.check import Checkpoint
from spinproof.model.handover import ScopeState
from spinproof.model.instrument import InstrumentRecord
from spinproof.model.matter import MatterKind, Nonconformance, Waiver
from spinproof.model.part import Severity
from spinproof.model.retest import Change, ChangeKind, checks_to_repeat

AGREED = {ScopeState.ACCEPTED, ScopeState.DONE, ScopeState.CUSTOMER_SUPPLIED}
TESTS = (Checkpoint.DRY_TEST, Checkpoint.WET_TEST)


def faults(file: HeadFile) -> list[str]:
    """Give what the records of a head may never hold, each in a sentence."""
    return [
        *_gates_out_of_order(file),
        *_signed_by_who_did_it(file),
        *_signed_over_something_grave(file),
        *_two_in_one_place(file),
        *_hands_in_without_a_lock(file),
        *_fitted_where_nobody_agreed(file),
        *_read_by_an_expired_instrument(file),
        *_counted_beyond_a_change(file),
    ]


def faults_of_a_start(file: HeadFile, *, counting: bool) -> list[str]:
    """Give why no run may start on a head as it is, each in a sentence."""
    found = [f"{m.name} bridges an interlock" for m in file.bypasses]
    found += [f"{m.name} locks the head" for m in file.open_lockouts]
    rotor, spindle = file.occupant("RTR"), file.occupant("SPI")
    pairs = {(fact.rotor, fact.spindle) for _, fact in file.stated(Balance)}
    if rotor is None or spindle is None or (rotor.tag, spindle.tag) not in pairs:
        found.append("rotor and spindle were never balanced together")
    return found + (_not_tested_since_the_last_change(file) if counting else [])


def _not_tested_since_the_last_change(file: HeadFile) -> list[str]:
    signed = {s.checkpoint for s in file.signatures if s.meaning is Meaning.VERIFIED}
    found = [f"the {p} was never verified" for p in TESTS if p not in {*signed, *_waived(file)}]
    rules = file.require_rules()
    sheets = [sheet for point in TESTS if (sheet := rules.sheet(point)) is not None]
    held = {place.code for place in file.positions if file.occupant(place.code) is not None}
    for check in (check for sheet in sheets for check in sheet.checks):
        empty = check.depends_on and not held & set(check.depends_on)
        passed = [c.done_at for c in file.checks if c.check == check.id and c.passed]
        since = [
            change.what
            for change in file.changes
            if change.done_at >= max(passed, default="")
            and check.id in checks_to_repeat(rules.matrix, [change.change], rules.sheets).checks
        ]
        if since and not empty and not {check.id, check.checkpoint.value} & _waived(file):
            found.append(f"{check.id} was not repeated after: {since[-1]}")
    return found


def _waived(file: HeadFile) -> set[str]:
    """Give what was ever waived by shop and customer."""
    return {
        m.content.subject
        for m in file.matters
        if isinstance(m.content, Waiver) and WaiverState.IN_FORCE in {s.state for s in m.steps}
    }


def _gates_out_of_order(file: HeadFile) -> list[str]:
    found = []
    for each in file.signatures:
        before = {(s.checkpoint, s.meaning) for s in file.signatures if s.id < each.id}
        found += [
            f"the {each.checkpoint} was signed before the {point} was {meaning}"
            for point in Checkpoint
            for meaning in Meaning
            if point.number < each.checkpoint.number
            and (point, meaning) not in before
            and point.value not in _waived(file)
        ]
    return found


def _signed_by_who_did_it(file: HeadFile) -> list[str]:
    def workers(gate: SignatureEntry) -> set[str]:
        covered = {which for _, which in gate.covered}
        checks = [c for c in file.checks if f"result {c.id}" in covered]
        read = {number for check in checks for number in check.measurements}
        return {
            *(name_key(check.who) for check in checks),
            *(name_key(m.who) for m in file.measurements if m.id in read),
            *(
                name_key(s.who)
                for s in file.signatures
                if s.meaning is Meaning.PERFORMED and s.covers == gate.covers
                if s.checkpoint is gate.checkpoint
            ),
        }

    return [
        f"{gate.who} verified the {gate.checkpoint}, and did work of it"
        for gate in file.signatures
        if gate.meaning is Meaning.VERIFIED and name_key(gate.who) in workers(gate)
    ]


def _signed_over_something_grave(file: HeadFile) -> list[str]:
    grave = [
        (m, [s.at for s in m.steps if s.state is NonconformanceState.CLOSED])
        for m in file.matters
        if isinstance(m.content, Nonconformance) and m.content.severity is not Severity.COSMETIC
    ]
    return [
        f"the {gate.checkpoint} was signed while {matter.name} was open"
        for gate in file.signatures
        for matter, closed in grave
        if matter.opened.at < gate.at < min(closed, default="9")
        and matter.name not in _waived(file)
    ]


def _two_in_one_place(file: HeadFile) -> list[str]:
    seats = [p.now for p in file.parts if p.now.state is PartState.IN_POSITION]
    places = [(seat.unit, seat.position) for seat in seats]
    return [f"two parts sit at {place}" for place in set(places) if places.count(place) > 1]


def _hands_in_without_a_lock(file: HeadFile) -> list[str]:
    locks = [
        (m.opened.at, m.steps[-1].at if len(m.steps) > 1 else "9")
        for m in file.of_kind(MatterKind.LOCKOUT)
    ]

    def locked(step: PartStepEntry) -> bool:
        times = (step.at, step.done_at)
        return any(on <= at <= off for on, off in locks for at in times)

    return [
        f"{part.tag} was moved at {file.unit.designation} under no lock"
        for part in file.parts
        for before, step in zip(part.steps, part.steps[1:], strict=False)
        if file.unit.designation in {before.unit, step.unit} and not locked(step)
    ]


def _fitted_where_nobody_agreed(file: HeadFile) -> list[str]:
    asked = {m.content.position for m in file.matters if isinstance(m.content, Nonconformance)}

    def agreed(step: PartStepEntry) -> bool:
        return any(
            taken.state in AGREED and taken.at <= step.at
            for line in file.scope
            if (line.unit, line.position) == (step.unit, step.position)
            for taken in line.steps
        )

    def came_from_here(part: PartEntry, step: PartStepEntry) -> bool:
        return (part.steps[0].unit, part.steps[0].position) == (step.unit, step.position)

    return [
        f"{part.tag} was fitted at {step.position}, which nobody agreed to"
        for part in file.parts
        for step in part.steps
        if step.state is PartState.IN_POSITION and not came_from_here(part, step)
        if not agreed(step) and step.position not in asked
    ]


def _read_by_an_expired_instrument(file: HeadFile) -> list[str]:
    passed = {number for check in file.checks if check.passed for number in check.measurements}

    def valid(instrument: InstrumentRecord, day: date) -> bool:
        held = [c for c in instrument.calibrations if c.at <= day <= c.due]
        return bool(held) or not instrument.kind.needs_calibration

    return [
        f"{m.check} passed on {m.instrument}, whose calibration had ended"
        for m in file.measurements
        if m.id in passed and m.limit is not None and m.instrument is not None
        if not valid(file.instruments[m.instrument], datetime.fromisoformat(m.done_at).date())
    ]


def _counted_beyond_a_change(file: HeadFile) -> list[str]:
    found = []
    for campaign in file.campaigns:
        own = {r.configuration for r in file.runs if r.campaign == campaign.number}
        if own - {campaign.configuration}:
            found.append(f"campaign {campaign.number} counts runs of another configuration")
        late = [c.what for c in file.changes if c.at > campaign.opened_at and _is_tested(c.change)]
        if campaign.closing is None and (late or campaign.configuration != file.fingerprint):
            found.append(f"campaign {campaign.number} is open after a change: {late}")
    return found


def _is_tested(change: Change) -> bool:
    """Tell whether a change is of what a head is, and not of the limit of a last inspection."""
    return change.kind is not ChangeKind.LIMIT or change.name[:1] in {"D", "W"}
