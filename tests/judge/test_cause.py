"""Likely causes: ranked by signatures, with evidence and the check that settles; else unknown."""

from types import SimpleNamespace

import pytest

from spinproof.judge import cause as cause_module
from spinproof.judge.cause import Signature, diagnose, signatures
from spinproof.model.cause import NOTHING, UNKNOWN, Level, Symptom

ALL = sorted({name for s in signatures() for name in (*s.expects, *s.may)})


def diagnosed(monkeypatch: pytest.MonkeyPatch, **levels: str):
    """Diagnose a run with these symptoms off, and all others normal."""
    off = {name.replace("_", "-"): level for name, level in levels.items()}
    assert set(off) <= set(ALL)
    found = {
        name: Symptom(name, Level(off.get(name, "normal")), f"the {name} as seen") for name in ALL
    }
    monkeypatch.setattr(cause_module, "symptoms_of", lambda _: found)
    return diagnose(SimpleNamespace(judgement=SimpleNamespace(run="QA-1041-L-017")))


def typical(signature: Signature) -> dict[str, str]:
    """Give the symptoms that a cause is expected to show."""
    return {
        name.replace("-", "_"): "high" if level == "any" else level
        for name, level in signature.expects.items()
        if level != "normal"
    }


@pytest.mark.parametrize("signature", signatures(), ids=lambda s: s.name)
def test_a_cause_with_all_that_it_is_expected_to_show_ranks_first(signature, monkeypatch):
    found = diagnosed(monkeypatch, **typical(signature))

    assert found.causes[0].name == signature.name
    assert found.verdict in {signature.name, UNKNOWN}


def test_the_names_of_signatures_are_unique_and_their_symptoms_disjoint():
    names = [s.name for s in signatures()]

    assert len(names) == len(set(names))
    for signature in signatures():
        assert not signature.expects.keys() & signature.may.keys(), signature.name
        assert signature.check.endswith(".")
        assert signature.why.endswith(".")


def test_a_run_with_nothing_off_has_no_cause(monkeypatch):
    found = diagnosed(monkeypatch)

    assert (found.verdict, found.causes, found.symptoms) == (NOTHING, (), ())
    assert found.words == ("Nothing stands out beside the recipe, the head and what is usual.",)


def test_the_leading_cause_comes_with_evidence_and_the_check_that_settles_it(monkeypatch):
    found = diagnosed(
        monkeypatch, coast="low", drag="high", current_slow="high", current_fast="high"
    )
    first = found.causes[0]

    assert found.verdict == "bearing-drag"
    assert first.share > 0.8
    assert len(first.evidence_for) == 4
    assert first.evidence_against == ()
    assert first.check in found.words[1]


def test_what_speaks_against_a_cause_is_told(monkeypatch):
    found = diagnosed(monkeypatch, coast="low", drag="high", current_slow="high")
    first = next(c for c in found.causes if c.name == "bearing-drag")

    assert "the current-fast as seen: it should be high" in first.evidence_against


def test_a_pattern_that_no_cause_explains_is_unknown_rather_than_guessed(monkeypatch):
    found = diagnosed(
        monkeypatch, vent="high", n2_flow="high", di_flow="high", ramp="low", seal_loss="high"
    )

    assert found.verdict == UNKNOWN
    assert found.words[0].startswith("Unknown: no known cause explains alone what was seen")


def test_two_causes_that_explain_it_as_well_are_unknown(monkeypatch):
    found = diagnosed(monkeypatch, di_flow="low", n2_flow="low")

    assert found.verdict == UNKNOWN


def test_the_same_symptoms_give_the_same_answer(monkeypatch):
    assert diagnosed(monkeypatch, vent="high") == diagnosed(monkeypatch, vent="high")
