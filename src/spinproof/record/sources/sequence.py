"""The numbers of messages: which are missing, and which came twice."""

_MOST_OPEN = 1_000_000


class SequenceBook:
    """Keeps book of the numbers that came, in whatever order.

    Attributes
    ----------
    missing : int
        How many numbers between the first and the last did not come so far.
    twice : int
        How often a number came that was there already.
    """

    def __init__(self) -> None:
        self._open: set[int] = set()
        self._next: int | None = None
        self._beyond = 0
        self.twice = 0

    @property
    def missing(self) -> int:
        """How many numbers between the first and the last did not come so far."""
        return len(self._open) + self._beyond

    def note(self, number: int) -> None:
        """Note a number.

        Examples
        --------
        >>> book = SequenceBook()
        >>> for number in (7, 8, 11, 9, 9):
        ...     book.note(number)
        >>> book.missing, book.twice
        (1, 1)
        """
        if self._next is None or number == self._next:
            self._next = number + 1
        elif number > self._next:
            jump = number - self._next
            if jump + len(self._open) <= _MOST_OPEN:
                self._open.update(range(self._next, number))
            else:
                self._beyond += jump
            self._next = number + 1
        elif number in self._open:
            self._open.remove(number)
        else:
            self.twice += 1
