"""The pages: what they show, and what they may never do."""

import re
from html.parser import HTMLParser

import httpx
import pytest
from tests.demo_files import JOB
from tests.web.running import served
from tests.web.seed import EXCLUDED, HEAD, burn_in_bench, empty_bench

from spinproof.model.job import JobFile
from spinproof.model.run import Ending

FAILED = "QA-1041-L-002"
OF_THE_JOB = (
    "/jobs/QA-1041",
    f"/heads/{HEAD}",
    f"/heads/{EXCLUDED}",
    f"/runs/{FAILED}",
    f"/live/{HEAD}",
)
ALL = ("/", "/dossiers", "/words", "/runs/nothing", *OF_THE_JOB)
WITH_RUNS = (
    "/",
    "/jobs/QA-1041",
    f"/heads/{HEAD}",
    f"/runs/{FAILED}",
    f"/live/{HEAD}",
    "/dossiers",
)
EXCLUSIONS = (
    "refurbishment of the whole head",
    "window replacement",
    "ion-module replacement",
    "cover repaint",
    "frame repaint",
    "exhaust valve replacement",
)


class Page(HTMLParser):
    """Collects the elements of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(  # noqa: D102 - the name is the base class's
        self, tag: str, attrs: list[tuple[str, str | None]]
    ) -> None:
        self.elements.append((tag, dict(attrs)))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Give the attributes of all elements of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]


def text_of(client: httpx.Client, path: str) -> str:
    return client.get(path).text


@pytest.mark.parametrize("path", OF_THE_JOB)
def test_exclusions_stand_on_every_page_of_a_job(client: httpx.Client, path: str):
    text = text_of(client, path)

    for exclusion in EXCLUSIONS:
        assert exclusion in text
    assert "The window stays as received" in text
    assert re.search(r"without the shop.s warranty: cassette", text.replace("&#39;", "'"))


@pytest.mark.parametrize("path", WITH_RUNS)
def test_simulated_runs_say_so_on_every_page_that_shows_them(client: httpx.Client, path: str):
    assert ">SIMULATED<" in text_of(client, path)


def test_a_page_without_runs_does_not_call_itself_simulated(client: httpx.Client):
    assert ">SIMULATED<" not in text_of(client, f"/heads/{EXCLUDED}")


@pytest.mark.parametrize("path", ALL)
def test_pages_hold_no_script_or_style_of_their_own_and_ask_no_other_host(
    client: httpx.Client, path: str
):
    text = text_of(client, path)
    page = Page(text)

    assert "<style" not in text
    for _, attributes in page.elements:
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
        for name in ("href", "src", "action", "data-source"):
            assert (attributes.get(name) or "/").startswith(("/", "#"))
    for script in page.all("script"):
        assert script.get("src")


@pytest.mark.parametrize("path", ALL)
def test_pages_name_their_language_and_have_one_main_heading(client: httpx.Client, path: str):
    page = Page(text_of(client, path))

    assert page.all("html")[0]["lang"] == "en"
    assert len(page.all("h1")) == 1
    assert len(page.all("main")) == 1


@pytest.mark.parametrize("path", ALL)
def test_tables_have_a_caption_and_heads_and_pictures_have_words(client: httpx.Client, path: str):
    page = Page(text_of(client, path))

    assert len(page.all("caption")) == len(page.all("table"))
    assert all(head.get("scope") in {"row", "col"} for head in page.all("th"))
    assert all(picture.get("alt") for picture in page.all("img"))


def test_the_shop_leads_to_its_jobs_and_heads(client: httpx.Client):
    text = text_of(client, "/")

    assert "PO 40-7716Q" in text
    assert 'href="/jobs/QA-1041"' in text
    assert f'href="/heads/{HEAD}"' in text
    assert "attempts 8 = counted 4 + void 1 + relevant failure 1 + invalid 2" in text


def test_a_job_draws_its_machine_with_the_heads_in_their_places(client: httpx.Client):
    text = text_of(client, "/jobs/QA-1041")

    drawing = text[text.index('class="machine"') :]
    order = ("QM-207-U", "upper head", "not in scope", "QM-207-L", "lower head", "QM-207-S")
    places = [drawing.index(f">{part}<") for part in order]
    assert places == sorted(places)
    assert "Machine QM-207 with 2 heads" in text
    assert "19 accepted, 3 declined, 2 supplied by customer" in text


def test_a_head_shows_campaigns_configurations_claims_and_all_runs(client: httpx.Client):
    text = text_of(client, f"/heads/{HEAD}")

    assert "2 for a plan of 4" in text
    assert "6 for a plan of 4" in text
    assert "Campaign 2: 4 of 4 runs were good" in text
    assert "All campaigns pooled, failures included: 5 of 6 runs were good" in text
    for number in range(1, 10):
        assert f"/runs/QA-1041-L-{number:03d}" in text


@pytest.mark.parametrize(
    ("word", "numbers"),
    [
        ("counted", [3, 6, 7, 8, 9]),
        ("void", [1]),
        ("relevant failure", [2]),
        ("invalid (outside cause)", [4]),
        ("invalid (operator)", [5]),
        ("aborted", []),
    ],
)
def test_runs_can_be_filtered_by_what_they_are_called(
    client: httpx.Client, word: str, numbers: list[int]
):
    text = client.get(f"/heads/{HEAD}", params={"outcome": word}).text

    found = re.findall(r'href="/runs/QA-1041-L-(\d+)"', text)
    assert [int(number) for number in found] == numbers


def test_a_word_that_no_run_is_called_by_is_refused(client: httpx.Client):
    answer = client.get(f"/heads/{HEAD}", params={"outcome": "fine"})

    assert answer.status_code == 404
    assert "relevant failure" in answer.text


def test_a_head_out_of_scope_shows_what_was_declined_and_no_runs(client: httpx.Client):
    text = text_of(client, f"/heads/{EXCLUDED}")

    assert "not in scope" in text
    assert "do not energise this head" in text
    assert "Nothing is claimed about it" in text
    assert "/runs/" not in text


def test_a_run_gives_its_reasons_before_everything_else_it_shows(client: httpx.Client):
    text = text_of(client, f"/runs/{FAILED}")

    places = [
        text.index(part)
        for part in ("index was never proven", 'id="traces"', 'id="steps"', 'id="verdicts"')
    ]
    assert places == sorted(places)


def test_verdicts_that_did_not_pass_stand_first_each_with_word_and_shape(client: httpx.Client):
    text = text_of(client, f"/runs/{FAILED}")
    table = text[text.index('class="verdicts"') :]
    words = re.findall(r"</svg>\s*<span>(fail|undecided|not measured|pass)</span>", table)
    order = ["fail", "undecided", "not measured", "pass"]

    assert words[0] == "fail"
    assert "not measured" in words
    assert [order.index(word) for word in words] == sorted(order.index(word) for word in words)
    assert "at most 40 rpm" in table
    assert re.search(r"8\d\.\d+ ± \d", table)


def test_a_run_with_an_outside_cause_names_both_people_and_the_evidence(client: httpx.Client):
    text = text_of(client, "/runs/QA-1041-L-004")

    assert "Decided by TT-1, confirmed by QI-2" in text
    assert "log of the DI supply pressure" in text
    assert text.count("invalid (outside cause)") >= 2
    assert text.index("Classification history") < text.rindex("judge")


def test_a_run_leads_to_its_neighbours(client: httpx.Client):
    text = text_of(client, f"/runs/{FAILED}")

    assert 'rel="prev">Earlier: QA-1041-L-001' in text
    assert 'rel="next">Later: QA-1041-L-003' in text


@pytest.mark.parametrize(
    "path", ["/jobs/QA-9", "/heads/QM-9", "/heads/QM-207-S", "/runs/x", "/live/x"]
)
def test_unknown_identities_are_not_found(client: httpx.Client, path: str):
    answer = client.get(path)

    assert answer.status_code == 404
    assert "<code>record</code>" in answer.text


def test_texts_of_people_are_shown_and_never_run(tmp_path):
    evil = '"><img src=x onerror=alert(1)><script>alert(2)</script>{{ 7 * 7 }}'
    document = JOB.to_document()
    document["shop"] = evil[:80]
    document["scope"][19]["text"] = evil
    document["scope"][19]["consequence"] = evil
    bench = empty_bench(tmp_path)
    with bench.ledger.transaction("RT-1", bench.now) as records:
        records.add_job(JobFile.from_document(document))

    with served(bench.home) as address, httpx.Client(base_url=address) as client:
        for path in ("/", "/jobs/QA-1041", f"/heads/{HEAD}"):
            page = Page(text_of(client, path))
            assert not page.all("img")
            assert all(script.get("src") for script in page.all("script"))
        assert "&lt;script&gt;alert(2)&lt;/script&gt;{{ 7 * 7 }}" in text_of(
            client, "/jobs/QA-1041"
        )
    bench.ledger.close()


def test_a_run_without_an_outcome_says_how_far_it_has_come(tmp_path):
    bench = burn_in_bench(tmp_path)
    run = bench.start()
    with served(bench.home) as address, httpx.Client(base_url=address) as client:
        recorded = text_of(client, f"/runs/{run.name}")
        shop = text_of(client, "/")
        with bench.ledger.transaction("TT-1", bench.later(1)) as records:
            records.finish_run(run.name, Ending.STAND_LOST, None)
        ended = text_of(client, f"/runs/{run.name}")
        head = client.get(f"/heads/{HEAD}", params={"outcome": "not judged"}).text
    bench.ledger.close()

    assert "It is being recorded" in recorded
    assert f'href="/live/{HEAD}"' in recorded
    assert f"<b>{run.name}</b>" in shop
    assert "Its recording ended (stand lost). Nobody has judged it yet." in ended
    assert 'id="traces"' not in ended
    assert f"/runs/{run.name}" in head


def test_witnessed_runs_stand_beside_the_tally(client: httpx.Client):
    text = text_of(client, f"/heads/{HEAD}")

    assert "The tally above adds up the burn-in alone" in text
    assert '<span class="note">witness</span>' in text


def test_an_empty_home_says_how_to_begin(tmp_path):
    bench = empty_bench(tmp_path)
    with served(bench.home) as address, httpx.Client(base_url=address) as client:
        assert "spinproof demo" in text_of(client, "/")
        assert "spinproof dossier" in text_of(client, "/dossiers")
    bench.ledger.close()


def test_the_strip_draws_every_attempt(client: httpx.Client):
    answer = client.get(f"/heads/{HEAD}/strip.svg")

    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "8 attempts in order" in answer.text
    assert "SIMULATED" in answer.text
