"""Libraries of the optional extra ``sources``, imported once a source needs them."""

import logging
from importlib import import_module
from typing import Any

from spinproof.model.errors import StandError


def load_library(package: str, where: str) -> Any:
    """Import a package of the optional extra.

    Parameters
    ----------
    package : str
        Its name.
    where : str
        The source that needs it, for the message.

    Returns
    -------
    module
        The package.

    Raises
    ------
    StandError
        If it is not installed; the message says how to install it.
    """
    try:
        library = import_module(package)
    except ImportError as error:
        raise StandError(
            f"this source needs the package {package}, which is not installed",
            where=where,
            mend='Install it with: pip install "spinproof[sources]".',
        ) from error
    logging.getLogger(package).setLevel(logging.CRITICAL)  # our own notices say it
    for name in list(logging.root.manager.loggerDict):
        if name.startswith(f"{package}."):
            logging.getLogger(name).setLevel(logging.CRITICAL)
    return library
