"""Positions, provenance and what it needs, severities."""

import pytest
from tests.shop_files import positions, shop_text

from spinproof.model.documents import parse_document
from spinproof.model.errors import DocumentError, RecordError
from spinproof.model.part import (
    Belongs,
    Paper,
    PositionSet,
    Provenance,
    Severity,
    missing_papers,
)


def refusal(text: str) -> DocumentError:
    with pytest.raises(DocumentError) as caught:
        parse_document(text, PositionSet, "positions.toml")
    return caught.value


@pytest.mark.parametrize(
    ("provenance", "held", "missing"),
    [
        (Provenance.KEPT, [], 0),
        (Provenance.CUSTOMER_SUPPLIED, [], 0),
        (Provenance.REPLACED_NEW, [], 1),
        (Provenance.REPLACED_NEW, [Paper.REFURBISHMENT_RECORD], 1),
        (Provenance.REPLACED_NEW, [Paper.CERTIFICATE], 0),
        (Provenance.REPLACED_NEW, [Paper.PACKING_RECORD], 0),
        (Provenance.REPLACED_REFURBISHED, [Paper.CERTIFICATE], 1),
        (Provenance.REPLACED_REFURBISHED, [Paper.REFURBISHMENT_RECORD], 0),
        (Provenance.DONOR_PULLED, [], 3),
        (Provenance.DONOR_PULLED, [Paper.CERTIFICATE, Paper.PACKING_RECORD], 2),
        (Provenance.DONOR_PULLED, [Paper.CERTIFICATE, Paper.REFURBISHMENT_RECORD], 1),
        (Provenance.DONOR_PULLED, list(Paper), 0),
    ],
)
def test_each_provenance_needs_its_papers(provenance, held, missing):
    assert len(missing_papers(provenance, held)) == missing


def test_missing_papers_are_named_with_their_alternatives():
    held = [Paper.PACKING_RECORD, Paper.CUSTOMER_CONSENT]

    assert missing_papers(Provenance.DONOR_PULLED, held) == (
        "refurbishment record of this instance",
    )
    assert missing_papers(Provenance.REPLACED_NEW, []) == (
        "certificate or supplier's packing record",
    )


def test_the_shop_gives_no_warranty_on_what_the_customer_brought():
    without = {p for p in Provenance if not p.has_shop_warranty}

    assert without == {Provenance.CUSTOMER_SUPPLIED, Provenance.MISSING}


def test_only_a_cosmetic_finding_leaves_a_gate_open():
    assert [s for s in Severity if not s.blocks_a_gate] == [Severity.COSMETIC]


@pytest.mark.parametrize("asked", ["DSL", "dsl", "door seal", " Door Seal "])
def test_a_position_is_found_by_code_or_in_words(asked: str):
    assert positions().find(asked).code == "DSL"


def test_an_unknown_position_is_refused_with_the_known_codes():
    with pytest.raises(RecordError, match="Choose one of: AMP, BHT"):
        positions().find("flux capacitor")


def test_head_and_shared_module_have_their_own_positions():
    of_head, shared = (positions().of(belongs) for belongs in Belongs)

    assert len(of_head) + len(shared) == len(positions().positions)
    assert {"SUP", "SBR", "SEX", "SDR", "FRM"} == {position.code for position in shared}


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ('code = "PSW"', 'code = "VDI"', "two positions share the code VDI"),
        ('name = "bowl"', 'name = "Rotor"', "two positions share the name rotor"),
        ("row = 1\ncolumn = 2", "row = 1\ncolumn = 1", "two positions share the place"),
        ('criticality = "A"', 'criticality = "D"', "positions[1].criticality is 'D'"),
        ('code = "VDI"', 'code = "Vdi"', "positions[1].code is 'Vdi'"),
    ],
)
def test_positions_that_contradict_one_another_are_refused(before, after, words):
    assert words in refusal(shop_text("positions.toml").replace(before, after, 1)).what
