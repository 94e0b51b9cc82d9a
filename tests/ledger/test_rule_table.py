"""Every rule has a test that is named after it, and the published table says so."""

from tests.ledger.rule_table import TABLE, named_tests, table

from spinproof.ledger.rulebook.book import RULES


def test_every_rule_has_a_test_named_after_it():
    named = named_tests()

    assert [rule.id for rule in RULES if rule.id not in named] == []


def test_no_test_is_named_after_a_rule_that_does_not_exist():
    assert set(named_tests()) <= {rule.id for rule in RULES}


def test_the_published_table_is_fresh():
    assert TABLE.read_text(encoding="utf-8") == table(), "run: python -m tests.ledger.rule_table"
