"""Random forgeries of a ledger by hand, and what the doctor says. ``python -m bench.forgeries``.

Each forgery begins from the genuine file: records edited, deleted and added, the audit trail
edited, cut, swapped and rewritten, with hashes left alone and with every hash mended. Ends with
status 1 when one is not found, not named, or not said to be beyond what can be shown.
"""

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path

from tests.app.forged_shop import ForgedShop, Told, forgeries, hold_evidence
from tests.ledger.cases import AT
from tests.ledger.floor import Stages
from tests.ledger.forger import MENDED, WAYS

from spinproof.app.home import open_home
from spinproof.ledger.ledger import open_ledger


def a_played_ledger(folder: Path) -> Path:
    """Play a head through its wet test."""
    empty = folder / "empty.db"
    open_ledger(f"sqlite:///{empty}", at=AT).close()
    return Stages(folder, empty).file("wet")


def say(way: str, told: list[Told]) -> bool:
    """Print what was found of one way; tell whether all of it is right."""
    right = sum(one.is_right for one in told)
    beyond = sum(one.is_beyond for one in told)
    alone = sum(bool(one.alone) for one in told)
    mended = "said to be beyond any head" if way in MENDED else ""
    print(f"{way:48} {len(told):5} tried {right - beyond:5} named {alone:5} without a head", end="")
    print(f" {beyond:5} {mended}" if mended else "")
    for one in [one for one in told if not one.is_right][:3]:
        print(f"    NOT: {one.forgery}\n         {one.alone[:2]} {one.against[:2]}")
    return right == len(told)


def main() -> None:
    """Print the figures."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--each", type=int, default=100, help="forgeries of each way")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--home", type=Path, help="a shop whose ledger is copied and forged")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder)
        if given.home:
            shutil.copytree(given.home, made / "shop", ignore=shutil.ignore_patterns("ledger.db*"))
            shutil.copy(given.home / "ledger.db", made / "genuine.db")
        genuine = made / "genuine.db" if given.home else a_played_ledger(made)
        home = open_home(made / "shop")
        if not given.home:
            hold_evidence(home, genuine)
        shop, begun, whole = ForgedShop(home, genuine), time.monotonic(), True
        print(f"{shop.size} rows of the trail, heads outside up to row {shop.size * 9 // 10}")
        for way in WAYS:
            whole = say(way, list(forgeries(shop, (way,), given.each, given.seed))) and whole
    took = time.monotonic() - begun
    print(f"{given.each * len(WAYS)} forgeries, {1e3 * took / given.each / len(WAYS):.0f} ms each")
    sys.exit(0 if whole else 1)


if __name__ == "__main__":
    main()
