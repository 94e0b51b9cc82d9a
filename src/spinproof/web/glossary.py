"""What the words beside the shapes mean."""

from spinproof.app.views import NOT_JUDGED, RUNNING, VOID
from spinproof.model.handover import ScopeState
from spinproof.model.judgement import Verdict
from spinproof.model.run import Outcome

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
        ),
    ),
)
"""Groups of words with their meanings, in the order of the page."""
