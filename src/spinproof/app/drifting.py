"""What drifts in the burn-in of a head, from its records."""

from collections.abc import Sequence
from dataclasses import replace

from spinproof.judge.drifting import drift_of
from spinproof.judge.recipe_effect import SeenRun
from spinproof.ledger.entries import CampaignEntry, RunEntry
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.reading import Reading
from spinproof.model.errors import RecordError
from spinproof.model.head_model import HeadModel
from spinproof.model.plan import Cell
from spinproof.model.run import Outcome, Purpose
from spinproof.model.series import Drift
from spinproof.predict.run_prospect import prospect_of


def drift_of_head(ledger: Ledger, head: str, campaign: int | None = None) -> Drift:
    """Say what drifts in a campaign of a head's burn-in.

    Parameters
    ----------
    ledger : Ledger
        The records.
    head : str
        Designation of the head.
    campaign : int, optional
        Number of the campaign; the last one when left out.

    Returns
    -------
    Drift
        Over its counted runs, the gentle ladder left out, and over the relevant failure when that
        is its last run.

    Raises
    ------
    RecordError
        If there is no such head or campaign.
    """
    with ledger.reading() as reading:
        known = {entry.number: entry for entry in reading.campaigns(reading.unit(head).designation)}
        if not known and campaign is None:
            return drift_of(head, None, ())
        number = max(known) if campaign is None else campaign
        if number not in known:
            raise RecordError(
                f"the head has no campaign {number}",
                where=f"head {head}",
                mend=f"It has {len(known)}; they are counted from 1.",
            )
        return _drift(reading, known[number])


def _drift(reading: Reading, campaign: CampaignEntry) -> Drift:
    cells = {planned.number: planned.cell for planned in reading.plan(campaign).runs}
    made = [
        run
        for run in reading.runs(campaign.head)
        if run.campaign == campaign.number
        and run.purpose is Purpose.BURN_IN
        and run.outcome is not None
    ]
    kept = reading.head_models(campaign.head)
    seen, left_out, ladder = [], [], 0
    for position, run in enumerate(made, start=1):
        cell = None if run.planned is None else cells.get(run.planned)
        last = run is made[-1] and run.outcome is Outcome.RELEVANT_FAILURE
        if run.outcome is not Outcome.COUNTED and not last:
            left_out.append(f"{run.name} ({run.outcome})")
        elif cell is Cell.LADDER:
            ladder += 1
        elif (one := _seen(reading, run, position, kept)) is not None:
            seen.append(replace(one, repeats=cell is Cell.CUSTOMER))
    sentences = []
    if left_out:
        sentences.append(f"Left out, since they did not count: {', '.join(left_out)}.")
    if ladder:
        sentences.append(f"Left out, since they are the gentle ladder: {ladder} runs.")
    drift = drift_of(campaign.head, campaign.number, seen, sentences)
    if not made or made[-1].outcome is not Outcome.RELEVANT_FAILURE or drift.drifting:
        return drift
    said = f"The relevant failure {made[-1].name} came without a drift that these series show."
    return replace(drift, words=(*drift.words, said))


def _seen(
    reading: Reading, run: RunEntry, position: int, models: Sequence[HeadModel]
) -> SeenRun | None:
    """Give a run with what the first model of its head as it was then expects of it.

    The first one, so that a drift that came later is not calibrated away.
    """
    judgement = reading.judgement(run.name)
    if judgement is None:
        return None
    recipe, load = reading.recipe(run.name), reading.load(run.name)
    spec = reading.head_spec(run.name)
    model = next((each for each in models if each.head == spec), None)
    return SeenRun(
        name=run.name,
        position=position,
        recipe=recipe,
        load=load,
        repeats=False,
        judgement=judgement,
        expected={} if model is None else prospect_of(model, recipe, load),
    )
