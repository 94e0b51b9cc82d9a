"""How a route reaches the records."""

from typing import Annotated

from fastapi import Depends, Request

from spinproof.app.browsing import Browser


def browser_of(request: Request) -> Browser:
    """Give what answers the questions of a page."""
    browser: Browser = request.app.state.browser
    return browser


Shop = Annotated[Browser, Depends(browser_of)]
"""What a route asks for its records."""
