"""What the words beside the shapes mean."""

from spinproof.app.check_views import LEFT_OUT, OPEN, REPEAT, SUSPECT, WAITING, WAIVED
from spinproof.app.views import NOT_JUDGED, RUNNING, VOID
from spinproof.model.handover import ScopeState
from spinproof.model.instrument import Standing
from spinproof.model.judgement import Verdict
from spinproof.model.run import Outcome

INDICATION = "indication only"
"""How every standing of an instrument begins that decides nothing."""

GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "What a run is called",
        (
            (Outcome.COUNTED.value, "Every limit that decides was met, and the run counts."),
            (
                VOID,
                "It was counted, but its campaign was closed before it was complete, so the count "
                "starts again.",
            ),
            (
                Outcome.RELEVANT_FAILURE.value,
                "The head did not do what it must. It ends the count.",
            ),
            (
                Outcome.INVALID_OUTSIDE.value,
                "Something outside the head disturbed the run. This needs evidence and the name of "
                "a second person.",
            ),
            (Outcome.INVALID_OPERATOR.value, "Somebody stopped or changed the run."),
            (Outcome.ABORTED.value, "The recording did not reach the end of the run."),
            (NOT_JUDGED, "It was recorded, and nobody has judged it yet."),
            (RUNNING, "It is recorded now, or its recorder died and its journal waits."),
        ),
    ),
    (
        "What a limit says",
        (
            (Verdict.PASS.value, "The value lies inside the limit, with room for its uncertainty."),
            (Verdict.FAIL.value, "The value lies outside the limit."),
            (Verdict.UNDECIDED.value, "The limit lies within the uncertainty of the value."),
            (Verdict.NOT_MEASURED.value, "There is no value. That is never a pass."),
        ),
    ),
    (
        "Where a check or a checkpoint stands",
        (
            (
                OPEN,
                "Somebody can act on it now: a check whose turn it is, a finding, or a "
                "nonconformance.",
            ),
            (WAITING, "Something else comes first; the page says what."),
            (REPEAT, "It was passed, and a change since then took the ground from under it."),
            (
                "to be verified",
                "It is signed as performed, and another person has not signed as verified yet.",
            ),
            (
                SUSPECT,
                "An instrument that it rests on was found out of tolerance later, or may not "
                "decide. Take the reading again with another one.",
            ),
            (
                WAIVED,
                "The departure was asked for, approved by another person and by the customer. It "
                "prints on the documents.",
            ),
            (LEFT_OUT, "Every position that it looks at is empty."),
        ),
    ),
    (
        "What an instrument's word is worth",
        (
            (INDICATION, "The value is shown and kept, and decides nothing."),
            (Standing.VALID.value, "Calibrated, in date and in range: it may decide."),
            (Standing.EXPIRED.value, "Its calibration has run out, so it decides nothing."),
            (Standing.NOT_CALIBRATED.value, "Nobody has calibrated it, so it decides nothing."),
            (
                Standing.OUT_OF_TOLERANCE.value,
                "It was found wrong. Everything since its last good check is suspect.",
            ),
            (Standing.OUT_OF_RANGE.value, "The value lies where it was not calibrated."),
            (Standing.OWN_DISPLAY.value, "The machine tells about itself, so it decides nothing."),
        ),
    ),
    (
        "Parts and findings",
        (
            ("in position", "A part that sits in a head or a shared module."),
            ("scrapped", "A part that is used nowhere any more."),
            ("offered", "A finding that became a line of the scope, for the customer to answer."),
            ("settled", "A finding about which nobody has to act any more."),
        ),
    ),
    (
        "Who the customer is",
        (
            ("in the sealed store", "Entered; the owner alone can look, and each look is told."),
            ("not entered", "Nobody has entered it, so no document can be searched for it."),
        ),
    ),
    (
        "Nonconformances and waivers",
        (
            ("contained", "It can do no further harm; what becomes of it is not decided."),
            ("dispositioned", "It is decided what becomes of it."),
            ("actioned", "What was decided is done."),
            ("verified", "Another person has seen that it was done."),
            ("closed", "Nobody has to act any more."),
            ("asked", "A waiver was asked for; nobody has approved it."),
            ("approved by the shop", "Another person approved it; the customer has not yet."),
            ("in force", "The customer approved it too."),
            ("refused", "It was not approved."),
        ),
    ),
    (
        "What the customer chose",
        (
            (ScopeState.ACCEPTED.value, "Work that was ordered."),
            (
                ScopeState.DECLINED.value,
                "Work that was offered and not ordered: an exclusion. Nothing is claimed about it.",
            ),
            (
                ScopeState.CUSTOMER_SUPPLIED.value,
                "A part that the customer supplies. The shop gives no warranty on it.",
            ),
            (ScopeState.PROPOSED.value, "Written down by the shop, not yet put to the customer."),
            (ScopeState.RECOMMENDED.value, "Put to the customer, who has not answered yet."),
            (ScopeState.DEFERRED.value, "The customer will decide later; it is not done now."),
            (ScopeState.DONE.value, "Ordered work that is done."),
            (ScopeState.WITHDRAWN.value, "It is no longer offered or asked for."),
            ("in scope", "A head on which work was ordered."),
            ("not in scope", "A head on which nothing was ordered; nothing is claimed about it."),
        ),
    ),
)
"""Groups of words with their meanings, in the order of the page."""
