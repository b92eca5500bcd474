"""Templates to pages, and the few files that are served as they are."""

from __future__ import annotations

import re
from datetime import date
from functools import cache, partial
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from shortpencil.forms.rules import in_tables_said, many_said, phase_said
from shortpencil.forms.shown import harmless
from shortpencil.scan.language import LANGUAGES, _, first_upper, inside, number, pgettext, spoken, told
from shortpencil.scan.language.spoken import plural_form
from shortpencil.scan.reading import CARD_PICTURE
from shortpencil.scan.review.naming import aside_said, count_said, day_said
from shortpencil.scan.review.questions import percent, when_said
from shortpencil.scan.review.views import pieces

#: Name in the address -> package, file in it, type. No name from a request ever becomes a path.
STATIC = {
    "page.css": ("shortpencil.scan.review", "static/page.css", "text/css; charset=utf-8"),
    "year.css": ("shortpencil.scan.review", "static/year.css", "text/css; charset=utf-8"),
    "page.js": ("shortpencil.scan.review", "static/page.js", "text/javascript; charset=utf-8"),
    "glance.css": ("shortpencil.scan.review", "static/glance.css", "text/css; charset=utf-8"),
    "glance.js": ("shortpencil.scan.review", "static/glance.js", "text/javascript; charset=utf-8"),
    "roving.js": ("shortpencil.scan.review", "static/roving.js", "text/javascript; charset=utf-8"),
    "htmx.min.js": ("shortpencil.scan.review", "static/htmx.min.js", "text/javascript; charset=utf-8"),
    "icon.svg": ("shortpencil.scan.review", "static/icon.svg", "image/svg+xml"),
    "regular.ttf": ("shortpencil.forms.fonts", "AtkinsonHyperlegibleNext-Regular.ttf", "font/ttf"),
    "bold.ttf": ("shortpencil.forms.fonts", "AtkinsonHyperlegibleNext-Bold.ttf", "font/ttf"),
}


#: What a page shows between its tags; what stands in a box for texts is sent back as it is.
_SHOWN = re.compile("(<textarea[^>]*)?>[^<]+")


class Pages:
    """Renders templates by name; every value is escaped but the SVG that this program draws."""

    def render(self, template: str, **values: Any) -> str:
        """Return a page as text."""
        more = {"language": spoken(), "spoken_here": LANGUAGES}
        return _read_as_written(_environment().get_template(template).render(**more, **values))


def _read_as_written(page: str) -> str:
    """Write out what would make a text read as another, such as a name with a right-to-left override.

    In attributes all stays, since forms send names back from there.
    """
    if harmless(page) == page:
        return page
    return _SHOWN.sub(lambda shown: shown[0] if shown[1] else harmless(shown[0]), page)


@cache  # it keeps the templates that it has compiled
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("shortpencil.scan.review"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.install_gettext_callables(  # type: ignore[attr-defined]  # the extension adds it
        _, plural_form, newstyle=True, pgettext=pgettext
    )
    environment.filters |= {
        "told": told,
        "aside_said": aside_said,
        "inside": inside,
        "first_upper": first_upper,
        "number": number,
        "one": phase_said,
        "many": many_said,
        "percent": percent,
        "when": when_said,
        "day": lambda text: day_said(date.fromisoformat(text[:10])) if text else "",
        "mm": lambda value: f"{value:.2f}".rstrip("0").rstrip("."),
        "safe_svg": Markup,
        "url": partial(quote, safe=""),
    }
    environment.globals |= {
        "many": many_said,
        "one": phase_said,
        "heads": in_tables_said,
        "count_said": count_said,
        "pieces": pieces,
        "CARD": CARD_PICTURE,
    }
    return environment


def static_files() -> dict[str, tuple[bytes, str]]:
    """Return every file that is served as it is, by its name in the address, with its type."""
    return {
        name: (files(package).joinpath(path).read_bytes(), kind)
        for name, (package, path, kind) in STATIC.items()
    }
