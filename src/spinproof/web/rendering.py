"""Templates to answers, always escaped."""

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse

from spinproof.web.visitor import current
from spinproof.web.wording import FILTERS

templates = Environment(
    loader=PackageLoader("spinproof.web"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
templates.filters.update(FILTERS)
templates.globals["visitor"] = current.get


def render(template: str, /, *, status: int = 200, **values: object) -> HTMLResponse:
    """Give a page made from a template; every value is escaped.

    Parameters
    ----------
    template : str
        File name below ``templates``.
    status : int
        HTTP status of the answer.
    **values : object
        What the template shows.

    Returns
    -------
    HTMLResponse
        The page.
    """
    return HTMLResponse(templates.get_template(template).render(**values), status_code=status)
