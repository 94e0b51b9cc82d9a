"""The recorder process of one head: it reads its order from its parent, then needs it no more."""

import json
import sys
from contextlib import AbstractContextManager, nullcontext, suppress
from pathlib import Path

from spinproof.app.burn_in import Station
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.home import Home, open_home
from spinproof.app.intake import open_shop_ledger, present_setup
from spinproof.app.recording import StandAddress
from spinproof.app.recovery import recover_home
from spinproof.app.runner import is_running, run_series
from spinproof.app.runner_state import SeriesOrder, StatedFault, state_of, write_state
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import SpinproofError
from spinproof.virtualhead.process_host import StandProcess


def make_series(home: Home, order: SeriesOrder) -> None:
    """Make the runs of an order, at its stand or at a virtual one of its own.

    Raises
    ------
    SpinproofError
        What stood in the way; it stands in the state of the series, too.
    """
    ledger = open_shop_ledger(home)
    try:
        recover_home(home, ledger)
        with _stand(ledger, order) as virtual:
            if virtual is None:
                address = StandAddress(order.host or "", order.port)
            else:
                address = StandAddress(virtual.host, virtual.port)
            station = Station(
                home,
                ledger,
                order.head,
                address,
                operator=order.by,
                simulated_start=order.is_virtual,
                seed=order.seed,
            )
            run_series(station, order.runs)
    finally:
        ledger.close()


def _stand(ledger: Ledger, order: SeriesOrder) -> AbstractContextManager[StandProcess | None]:
    """Give a virtual stand of the head where no other was named."""
    if not order.is_virtual:
        return nullcontext()
    with ledger.reading() as records:
        setup = present_setup(records, order.head)
    heads = [setup.head] * setup.channels.unit_id
    return StandProcess(heads, speed_up=order.speed_up)


def main() -> None:
    """Make the series that is asked for on standard input, and keep what stood in its way."""
    home = open_home(Path(sys.argv[1]))
    order = SeriesOrder.from_document(json.loads(sys.stdin.buffer.read()))
    with suppress(KeyboardInterrupt):  # how a recording is ended by hand
        try:
            make_series(home, order)
        except SpinproofError as error:
            sys.stderr.write(f"{error.what} ({error.where}): {error.mend}\n")
            state = state_of(home, order.head)
            mine = state is not None and not is_running(home, order.head)
            if state is not None and mine and state.ended_at is None:
                now = rfc3339(utc_now())
                write_state(home, order.head, state.ended(now, error.what, StatedFault.of(error)))


if __name__ == "__main__":
    main()
