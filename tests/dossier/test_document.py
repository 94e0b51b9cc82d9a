"""The PDF: what it says, in which order, and what it cannot be made to say."""

import re
import subprocess
import zlib
from dataclasses import replace

import pytest
from tests.dossier.handover_example import example, small_example

from spinproof.dossier.document import CAUTIONS, Seal, figures, render_document
from spinproof.dossier.front_pages import plan_summary
from spinproof.dossier.statements import make_statements
from spinproof.files.digest import sha256_of_file
from spinproof.model.errors import PackageError

SEAL = Seal("ab" * 32, "ABCD " * 15 + "ABCD", 12)


def text_of(pdf):
    """Give the text of a PDF page by page, as an independent reader extracts it."""
    done = subprocess.run(
        ["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, text=True
    )
    return done.stdout.removesuffix("\f").split("\f")


def render(handover, tmp_path):
    path = tmp_path / "dossier.pdf"
    path.write_bytes(render_document(handover, make_statements(handover), SEAL))
    return path


@pytest.fixture(scope="module")
def pages(package):
    return text_of(package / "dossier.pdf")


def flat(text):
    return " ".join(text.split())


def test_the_first_page_says_order_then_exclusions_then_gates_then_tally_then_claims(pages):
    first = flat(pages[0])
    marks = [
        "PO 40-7716Q",
        "SIMULATED The runs",
        "Excluded by the customer",
        "Supplied by the customer, without warranty",
        "Gates",
        "Attempts 79 = counted 54 + void 22 + relevant failure 1 + invalid 2",
        "In campaign 2: 54 of 54",
        "In all campaigns together: 76 of 77",
        "These numbers do not say",
    ]
    places = [first.index(mark) for mark in marks]

    assert places == sorted(places)


def test_all_exclusions_stand_on_the_first_page_with_what_follows_from_them(pages):
    first = flat(pages[0])

    for line in example().handover.exclusions:
        assert line.item in first
        assert line.text in first
    assert "Head QM-207-U was excluded by the customer; it was not refurbished" in first
    assert "do not energise this head" in first
    assert "cassette (QM-207-L, SC-16); nitrogen regulator (QM-207-L, SC-17)" in first


def test_every_page_names_job_and_head_and_says_simulated_and_its_number(pages):
    for number, page in enumerate(pages, 1):
        assert "QA-1041 · head QM-207-L" in page
        assert "SIMULATED" in page
        assert f"page {number} of {len(pages)}" in page


def test_every_attempt_is_in_the_table_and_has_a_figure_of_its_own(pages):
    text = "\n".join(pages)

    for attempt in example().handover.attempts:
        assert text.count(attempt.run) >= 2
        assert attempt.trace_sha256[:16] in text


def test_the_witnessed_run_shows_every_metric_with_limit_basis_and_verdict(pages):
    text = "\n".join(pages)

    for name in (
        "ripple of the speed",
        "settling after the ramp",
        "pressure loss of the seal",
    ):
        assert name in flat(text)
    assert "≤ 4.5 mm/s" in text
    assert "common practice: wet test" in flat(text)
    assert re.search(r"\d\.\d\d ± 0\.\d\d mm/s", text)
    assert "not measured" in text
    assert re.search(r"\d\.\d+ mm/s inside", flat(text))
    assert "Rules: inside the limit; inside the limit by 1.645 u." in flat(text)
    assert "13 wafers of 53.05 g each, in slots 1, 3, 5" in flat(text)


def test_remarks_of_people_are_quoted_with_their_role_and_findings_of_the_judge_are_not(pages):
    text = flat("\n".join(pages))

    assert "shows it” (remark of TT-1)" in text
    assert "the index was not proven within 20 s of the stop (judged by spinproof" in text


def test_the_text_inside_figures_is_text(pages):
    text = "\n".join(pages)

    assert "resistivity [MΩ·cm]" in text
    assert "seal pressure [kPa (gauge)]" in text
    assert "index proven 437.6 s" in text


def test_the_document_prints_and_carries_the_sum_of_the_evidence(package, pages):
    sum_ = sha256_of_file(package / "evidence.json")

    assert sum_ in "\n".join(pages)
    assert sum_.encode() in (package / "dossier.pdf").read_bytes()


def test_cautions_defer_to_local_codes_and_no_door_is_called_safe(pages):
    text = flat("\n".join(pages))

    assert all(flat(caution).split(":")[0] in text for caution in CAUTIONS)
    assert "Local codes and licensed practice come first" in text
    assert "It never says that a door is safe to open" in text


def test_it_is_tagged_pdf_a_2a_with_a_title_and_no_name_of_this_machine(package):
    data = (package / "dossier.pdf").read_bytes()
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL)
    plain = data + b"".join(inflated(stream) for stream in streams)

    assert b"<pdfaid:part>2</pdfaid:part>" in data
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in data
    assert b"<pdfuaid:part>1</pdfuaid:part>" in data
    assert b"Dossier of head QM-207-L" in data
    assert b"spinproof-dossier-" not in plain
    assert b"/home" not in plain
    assert b"/tmp" not in plain


def inflated(stream):
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.parametrize(
    "text", ['#panic("x") *bold* $a^2$', "<script>alert(1)</script> @ref `raw`", "// #let x = 1 \\"]
)
def test_text_of_the_records_is_printed_and_never_run(tmp_path, text):
    handover = replace(small_example().handover, machine=text)

    assert flat(text) in flat(text_of(render(handover, tmp_path))[1])


def test_a_character_that_no_font_has_is_refused_in_words(tmp_path):
    handover = replace(small_example().handover, machine="機械")
    with pytest.raises(PackageError, match="cannot be laid out") as refused:
        render(handover, tmp_path)

    assert "could not be displayed" in refused.value.what


def test_a_promise_in_a_record_stops_the_document(tmp_path):
    handover = replace(small_example().handover, head_in_words="fully refurbished")
    with pytest.raises(PackageError, match="promise more"):
        render(handover, tmp_path)


def test_the_same_records_give_the_same_bytes(tmp_path):
    handover = small_example().handover
    statements = make_statements(handover)

    assert render_document(handover, statements, SEAL) == render_document(
        handover, statements, SEAL
    )


def test_a_job_without_exclusions_and_witness_still_makes_a_document(tmp_path):
    handover = replace(small_example().handover, scope=(), other_heads=(), claims=())
    first = text_of(render(handover, tmp_path))[0]

    assert "Excluded" not in first
    assert "What the runs support" not in first


def test_a_real_job_shows_simulated_nowhere(tmp_path):
    handover = replace(small_example().handover, simulated=False)

    assert "SIMULATED" not in "".join(text_of(render(handover, tmp_path)))
    assert not any("SIMULATED" in svg for svg in figures(handover).values())


def test_edits_of_a_plan_are_told():
    plan = small_example().handover.plan
    edited = plan.model_copy(update={"edits": ("Pinned run 9, inside 3.",)})

    assert ["Edited by hand", "Pinned run 9, inside 3."] in plan_summary(edited)["rows"]
    assert not [row for row in plan_summary(plan)["rows"] if row[0] == "Edited by hand"]


def test_the_first_page_holds_its_whole_list_of_contents(pages):
    first = flat(pages[0])

    assert first.index("Where to find what") < first.index("Identity and configuration")
    assert "How to verify this package" in first[first.index("Where to find what") :]
    assert "Cautions" in first[first.index("Where to find what") :]
