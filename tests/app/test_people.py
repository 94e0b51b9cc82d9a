"""Who is who: the first owner, proofs, tries, tablets, the code for other machines."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.profiles import RFC_9106_LOW_MEMORY

from spinproof.app.passwords import Passwords, require_password, require_pin
from spinproof.app.people import FrontDesk, Place
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.access import TRIES, Role
from spinproof.model.errors import DocumentError, GateClosedError, SignInError

AT = datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC)
HERE = Place()
AWAY = Place(beyond=True)
WORD = "four plain words here"
OTHER = "another set of words"
PIN = "194736"


class Counting(PasswordHasher):
    """A quick hasher that counts its checks."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.checks = 0

    def verify(self, *args: str | bytes) -> bool:
        """Count the check, and make it."""
        self.checks += 1
        return super().verify(*args)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    yield opened
    opened.close()


@pytest.fixture
def hasher() -> Counting:
    return Counting()


@pytest.fixture
def desk(ledger: Ledger, hasher: Counting) -> FrontDesk:
    made = FrontDesk(ledger, Passwords(hasher))
    made.first_owner("OW-1", AT)
    return made


@pytest.fixture
def staffed(desk: FrontDesk) -> FrontDesk:
    desk.set_password("OW-1", WORD, "OW-1", AT)
    desk.add_person("QI-2", Role.INSPECTOR, "OW-1", AT)
    desk.set_password("QI-2", OTHER, "OW-1", AT)
    return desk


def later(seconds: float) -> datetime:
    return AT + timedelta(seconds=seconds)


def test_the_first_owner_is_made_once(desk: FrontDesk):
    with pytest.raises(GateClosedError, match="made already"):
        desk.first_owner("XX-9", AT)


def test_the_only_owner_needs_no_sign_in_until_somebody_has_a_password(desk: FrontDesk):
    desk.add_person("TT-1", Role.TECHNICIAN, "OW-1", AT)
    assert desk.automatic_owner().name == "OW-1"
    desk.set_password("OW-1", WORD, "OW-1", AT)
    assert desk.automatic_owner() is None


def test_two_owners_without_passwords_are_not_told_apart(desk: FrontDesk):
    desk.add_person("OW-2", Role.OWNER, "OW-1", AT)
    assert desk.automatic_owner() is None


def test_passwords_are_held_with_the_librarys_own_parameters():
    parameters = extract_parameters(Passwords().hash(WORD))

    assert parameters == RFC_9106_LOW_MEMORY


def test_a_hash_of_older_parameters_is_renewed_at_the_next_sign_in(
    ledger: Ledger, staffed: FrontDesk
):
    stronger = PasswordHasher(time_cost=2, memory_cost=16, parallelism=1)
    FrontDesk(ledger, Passwords(stronger)).sign_in("OW-1", WORD, HERE, AT)
    with ledger.reading() as records:
        renewed = extract_parameters(records.credential("password", "OW-1"))

    assert (renewed.time_cost, renewed.memory_cost) == (2, 16)


@pytest.mark.parametrize(
    ("password", "told"),
    [
        ("fourteen chars", "14 characters"),
        ("x" * 2000, "2000 characters"),
        ("ababababababababab", "tried first"),
        ("spinproofspinproof", "tried first"),
        ("OW-1OW-1OW-1OW-1", "tried first"),
    ],
)
def test_a_password_that_is_soon_guessed_is_refused(password: str, told: str):
    with pytest.raises(DocumentError, match=told) as caught:
        require_password(password, "OW-1")
    assert password not in str(caught.value)


@pytest.mark.parametrize("password", ["fifteen letters", "ключ под ковриком лежит", "🗝" * 5 + WORD])
def test_every_printing_character_is_welcome_in_a_password(password: str):
    require_password(password, "OW-1")


@pytest.mark.parametrize(
    "pin", ["12345", "1234567", "12345a", "１９４７３６", "111111", "234567", "987654", ""]
)
def test_a_pin_that_is_none_or_soon_guessed_is_refused(pin: str):
    with pytest.raises(DocumentError):
        require_pin(pin, "OW-1")


def test_one_password_may_be_typed_on_any_keyboard(staffed: FrontDesk):
    composed, apart = "caf\u00e9 au lait, bitte", "cafe\u0301 au lait, bitte"
    staffed.set_password("OW-1", composed, "OW-1", AT)
    staffed.sign_in("OW-1", apart, HERE, AT)


def test_each_sign_in_gets_a_secret_of_its_own_that_the_ledger_does_not_know(
    staffed: FrontDesk, tmp_path: Path
):
    first, _ = staffed.sign_in("OW-1", WORD, HERE, AT)
    second, _ = staffed.sign_in("ow-1", WORD, HERE, AT)

    assert first != second
    assert len(first) >= 43  # 256 bits
    held = b"".join(path.read_bytes() for path in tmp_path.glob("ledger.db*"))
    assert not any(text.encode() in held for text in (first, second, WORD))


def test_an_unknown_name_takes_as_many_checks_as_a_known_one(staffed: FrontDesk, hasher: Counting):
    staffed.add_person("TT-1", Role.TECHNICIAN, "OW-1", AT)
    counts, texts = [], []
    for name in ("OW-1", "nobody at all", "TT-1"):
        before = hasher.checks
        with pytest.raises(SignInError) as caught:
            staffed.sign_in(name, "not the right one", HERE, AT)
        counts.append(hasher.checks - before)
        texts.append(str(caught.value))

    assert counts == [1, 1, 1]
    assert len(set(texts)) == 1


def test_wrong_passwords_make_one_wait(staffed: FrontDesk):
    for second in range(TRIES.in_window):
        with pytest.raises(SignInError, match="do not belong"):
            staffed.sign_in("OW-1", "wrong", HERE, later(second))
    with pytest.raises(SignInError, match="too often") as caught:
        staffed.sign_in("OW-1", WORD, HERE, later(20))
    assert "Wait 15 min" in caught.value.mend

    staffed.sign_in("QI-2", OTHER, HERE, later(20))
    staffed.sign_in("OW-1", WORD, HERE, later(TRIES.window_s + 1))


def test_after_a_hundred_wrong_passwords_only_a_new_one_helps(staffed: FrontDesk):
    for number in range(TRIES.in_row):
        with pytest.raises(SignInError):
            staffed.sign_in("QI-2", "wrong", HERE, later(number * TRIES.window_s))
    after = later((TRIES.in_row + 5) * TRIES.window_s)
    with pytest.raises(SignInError, match="holds no longer"):
        staffed.sign_in("QI-2", OTHER, HERE, after)

    staffed.set_password("QI-2", WORD + "!", "OW-1", after)
    staffed.sign_in("QI-2", WORD + "!", HERE, after + timedelta(seconds=1))


def test_a_person_at_rest_cannot_sign_in(staffed: FrontDesk):
    staffed.change_person("QI-2", Role.INSPECTOR, active=False, why="left", by="OW-1", at=AT)
    with pytest.raises(SignInError):
        staffed.sign_in("QI-2", OTHER, HERE, AT)


@pytest.fixture
def tablet(staffed: FrontDesk) -> Place:
    staffed.set_pin("QI-2", PIN, "QI-2", AT)
    return Place(device_secret=staffed.enrol_device("tablet 1", "OW-1", AT))


def test_a_pin_signs_on_a_tablet_of_the_shop_alone(staffed: FrontDesk, tablet: Place):
    assert staffed.prove("QI-2", PIN, tablet, AT).name == "QI-2"
    for elsewhere in (HERE, Place("made up"), AWAY):
        with pytest.raises(SignInError):
            staffed.prove("QI-2", PIN, elsewhere, AT)


def test_a_pin_never_signs_in(staffed: FrontDesk, tablet: Place):
    with pytest.raises(SignInError):
        staffed.sign_in("QI-2", PIN, tablet, AT)


def test_a_pin_rests_after_five_wrong_tries_until_the_password_is_given(
    staffed: FrontDesk, tablet: Place
):
    for _ in range(TRIES.pins_in_row):
        with pytest.raises(SignInError, match="do not belong"):
            staffed.prove("QI-2", "735281", tablet, later(1))
    with pytest.raises(SignInError, match="wrong too often") as caught:
        staffed.prove("QI-2", PIN, tablet, later(2))
    assert "password" in caught.value.mend

    staffed.prove("QI-2", OTHER, tablet, later(3))
    staffed.prove("QI-2", PIN, tablet, later(4))


def test_a_tablet_out_of_use_takes_no_pin_and_signs_everybody_out(
    staffed: FrontDesk, tablet: Place
):
    secret, _ = staffed.sign_in("QI-2", OTHER, tablet, AT)
    staffed.retire_device("tablet 1", "lost", "OW-1", AT)

    assert staffed.session_of(secret, AT) is None
    with pytest.raises(SignInError):
        staffed.prove("QI-2", PIN, tablet, AT)


def test_a_new_password_signs_out_everywhere(staffed: FrontDesk):
    secret, _ = staffed.sign_in("QI-2", OTHER, HERE, AT)
    staffed.set_password("QI-2", WORD, "OW-1", AT)

    assert staffed.session_of(secret, AT) is None


def test_a_session_is_noted_as_seen_and_lives_on(staffed: FrontDesk):
    secret, _ = staffed.sign_in("OW-1", WORD, HERE, AT)
    for minute in range(0, 100, 25):
        assert staffed.session_of(secret, later(60 * minute)) is not None
    assert staffed.session_of(secret, later(60 * (75 + 31))) is None


def test_no_secret_stands_in_the_trail(staffed: FrontDesk, tablet: Place, ledger: Ledger):
    secret, session = staffed.sign_in("QI-2", OTHER, tablet, AT)
    staffed.prove("QI-2", PIN, tablet, AT)
    with ledger.reading() as records:
        trail = repr(records.audit())
        check = records.verify_audit()

    assert check.broken is None
    for hidden in (WORD, OTHER, PIN, secret, session.sha256, tablet.device_secret, "argon2"):
        assert hidden not in trail


def test_other_machines_wait_for_an_owner_with_a_password(desk: FrontDesk):
    with pytest.raises(GateClosedError, match="no owner has a password"):
        desk.open_beyond()


def test_the_owners_first_sign_in_from_elsewhere_needs_the_code_of_the_console(
    staffed: FrontDesk,
):
    code = staffed.open_beyond()
    for name, word, typed in (("OW-1", WORD, ""), ("OW-1", WORD, "AAAA"), ("QI-2", OTHER, code)):
        with pytest.raises(SignInError, match="owner signs in first"):
            staffed.sign_in(name, word, AWAY, AT, typed)
    staffed.sign_in("OW-1", WORD, AWAY, AT, code.lower())

    assert not staffed.asks_code
    staffed.sign_in("QI-2", OTHER, AWAY, AT)
    assert staffed.open_beyond() is None


def test_a_code_that_is_guessed_at_holds_no_longer(staffed: FrontDesk):
    code = staffed.open_beyond()
    for _ in range(10):
        with pytest.raises(SignInError):
            staffed.sign_in("nobody", "x", AWAY, AT, "guess")
    with pytest.raises(SignInError, match="holds no longer"):
        staffed.sign_in("OW-1", WORD, AWAY, AT, code)


def test_a_code_with_a_wrong_password_is_not_used_up(staffed: FrontDesk):
    code = staffed.open_beyond()
    with pytest.raises(SignInError, match="do not belong"):
        staffed.sign_in("OW-1", "wrong", AWAY, AT, code)
    staffed.sign_in("OW-1", WORD, AWAY, AT, code)


def test_a_lost_password_of_the_owner_is_set_anew_from_the_console(staffed: FrontDesk):
    secret, _ = staffed.sign_in("OW-1", WORD, HERE, AT)
    staffed.reset_owner("ow-1", OTHER, AT)

    assert staffed.session_of(secret, AT) is None
    staffed.sign_in("OW-1", OTHER, HERE, AT)
    with pytest.raises(GateClosedError, match="no owner on record"):
        staffed.reset_owner("QI-2", WORD, AT)


def test_the_console_makes_the_first_owner_too(ledger: Ledger):
    desk = FrontDesk(ledger, Passwords(Counting()))
    desk.reset_owner("OW-1", WORD, AT)
    desk.sign_in("OW-1", WORD, HERE, AT)
