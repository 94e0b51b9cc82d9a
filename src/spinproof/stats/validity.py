"""How a law of this room refuses numbers outside its range."""

import numpy as np

from spinproof.model.errors import OutOfRangeError


def require(holds: bool, what: str, *, where: str, mend: str) -> None:  # noqa: FBT001 - the condition is the subject, as in assert
    """Refuse inputs that do not hold.

    Parameters
    ----------
    holds : bool
        Whether the inputs are inside the law's range; NaN never is, since it compares as false.
    what : str
        What is wrong, as a clause.
    where : str
        The law that was asked.
    mend : str
        What to give instead, as a sentence.

    Returns
    -------
    None
        Nothing; the inputs may be used.

    Raises
    ------
    OutOfRangeError
        If the condition does not hold.
    """  # noqa: DOC202 - every public law says what it returns, be it nothing
    if not holds:
        raise OutOfRangeError(what, where=where, mend=mend, mask=np.array([True]))
