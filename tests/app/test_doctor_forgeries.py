"""Random forgeries of a shop by hand: each is named, or said to be beyond what can be shown."""

import numpy as np
import pytest
from tests.app.forged_shop import ForgedShop, hold_evidence
from tests.ledger.cases import AT
from tests.ledger.floor import Stages
from tests.ledger.forger import WAYS

from spinproof.app.home import open_home
from spinproof.ledger.ledger import open_ledger

EACH = 3


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> ForgedShop:
    folder = tmp_path_factory.mktemp("forged")
    empty = folder / "empty.db"
    open_ledger(f"sqlite:///{empty}", at=AT).close()
    genuine = Stages(folder, empty).file("bonding")
    home = open_home(folder / "shop")
    hold_evidence(home, genuine)
    return ForgedShop(home, genuine)


@pytest.mark.parametrize("way", WAYS)
def test_what_was_done_by_hand_is_named_or_said_to_be_beyond_any_head(shop: ForgedShop, way: str):
    rng = np.random.default_rng(sorted(WAYS).index(way))
    for _ in range(EACH):
        told = shop.tell(way, rng)

        assert told.is_right, told
