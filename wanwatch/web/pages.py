"""Pages: for people, whole without a script; a small one of our own keeps the status page fresh."""

import asyncio
import shlex
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final, NamedTuple

from aiohttp import web
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from wanwatch import __version__
from wanwatch.core.account.calendar import local_time
from wanwatch.core.apart import apart, event_apart
from wanwatch.core.incident import find, phrase, sentence, subject
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, UNPINNED, Measurement, Span
from wanwatch.publish.incidents import WORDS
from wanwatch.publish.speed import rate
from wanwatch.publish.words import sentence as event_sentence
from wanwatch.report.kept import MEDIA_TYPES, SUFFIXES, listed
from wanwatch.web import views
from wanwatch.web.office import KEPT_NS, Office, Reader, Reading, tests_of
from wanwatch.web.ribbon import PATTERNS

FOLDER: Final = Path(__file__).parent / "page"
_WORDS: Final = WORDS._replace(name=apart)
_KINDS: Final = {".html": "page", ".pdf": "PDF", ".zip": "tables", ".json": "data"}
"""What a kept report is for a reader, by the ending of its file's name."""
_MEDIA_TYPES: Final = {Path(f"x{SUFFIXES[form]}").suffix: media_type for form, media_type in MEDIA_TYPES.items()}
_OWN_FILES: Final = {"status.css": "text/css", "status.js": "text/javascript"}
REPORT_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; form-action 'none'; sandbox"
)
"""Reports are single files that were written to be handed on: their style stands within them, and nothing runs."""


class Pages:
    """Answers for people.

    Args:
        office: Where the facts come from.
        reader: Reads the record.
        may_leave: Says whether there are sessions that can be ended.
    """

    def __init__(self, office: Office, reader: Reader, may_leave: Callable[[], bool]) -> None:
        self._office, self._reader = office, reader
        self._may_leave = may_leave
        self._last: tuple[Reading, tuple[int, bool], str] | None = None
        self._environment = Environment(
            loader=FileSystemLoader(FOLDER), autoescape=True, undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
        )  # fmt: skip
        self._environment.globals.update(version=__version__, patterns=PATTERNS, may_leave=may_leave, zone=office.zone)
        self._environment.filters.update(
            instant=self._instant,
            incident=lambda one: sentence(one, _WORDS),
            phrase=lambda entry: phrase(entry, _WORDS),
            subject=lambda event: "traffic" if (who := subject(event)) == UNPINNED else who or "site",
            sentence=lambda event: event_sentence(event_apart(event)),
            lasted=lambda stretch: duration(stretch.span.length_ns / NS_PER_S),
            incident_href=lambda one: views.href("incident", one.id),
            argument=shlex.quote,
            speed=_speed,
            capital=lambda text: text[:1].upper() + text[1:],
        )
        for name in self._environment.list_templates(extensions=["html"]):
            self._environment.get_template(name)  # now, rather than while probes wait for it

    @property
    def routes(self) -> list[web.RouteDef]:
        """All pages, and the files that they are made with."""
        return [
            web.get("/", self.status),
            web.get("/uplink/{name}", self.uplink),
            web.get("/incident/{id}", self.incident),
            web.get("/reports", self.reports),
            web.get("/reports/{file}", self.report),
            *(web.get(f"/{name}", partial(_own_file, name)) for name in _OWN_FILES),
        ]

    async def status(self, _request: web.Request) -> web.Response:
        """The whole office at this moment; those who ask within the same second get the same page."""
        reading = await self._reader.read()
        moment = (self._office.clock.now_ns() // NS_PER_S, self._may_leave())
        if self._last is None or self._last[0] is not reading or self._last[1] != moment:
            reports = [one.name for one in by_period(kept(self._office.reports))]
            shown = views.status(self._office.health(), self._office.lately(), reading, reports)
            self._last = (reading, moment, self._drawn("status.html", status=shown))
        return _page(self._last[2])

    async def uplink(self, request: web.Request) -> web.Response:
        """One line: its day, its targets, its events and speed tests."""
        health: Any = self._office.health()
        name = request.match_info["name"]
        row = next((row for row in health["uplinks"] if row["name"] == name), None)
        if row is None:
            raise web.HTTPNotFound(text="There is no such line.")
        reading = await self._reader.read()
        return self.render(
            "uplink.html",
            site=health["site"],
            line=views.line(health, row, self._office.lately(), reading),
            events=views.events_of(reading, name)[:100],
            tests=await self._tests(name) if reading.trouble is None else [],
            trouble=reading.trouble,
        )

    async def incident(self, request: web.Request) -> web.Response:
        """One incident, with its time line."""
        reading = await self._reader.read()
        one = find(reading.incidents, request.match_info["id"])
        if one is None:
            raise web.HTTPNotFound(
                text="There is no such incident in the last 30 days; see wanwatch events --incidents."
            )
        return self.render("incident.html", site=one.lead.site, one=one, trouble=reading.trouble)

    async def reports(self, _request: web.Request) -> web.Response:
        """The reports that were kept."""
        return self.render(
            "reports.html", site=self._office.health()["site"], reports=by_period(kept(self._office.reports))
        )

    async def report(self, request: web.Request) -> web.Response:
        """One of them, as it was written."""
        name = request.match_info["file"]
        path = next((path for path in kept(self._office.reports) if path.name == name), None)
        try:
            body = None if path is None else await asyncio.to_thread(path.read_bytes)
        except OSError:  # let go of just now
            body = None
        if path is None or body is None:
            raise web.HTTPNotFound(text="There is no such report.")
        # Browsers do not show a PDF in a sandbox, so whatever is no page is handed over as a file.
        shown = {} if path.suffix == ".html" else {"Content-Disposition": "attachment"}
        headers = {"Content-Security-Policy": REPORT_POLICY} | shown
        return web.Response(body=body, headers=headers, content_type=_MEDIA_TYPES[path.suffix])

    def render(self, template: str, **values: object) -> web.Response:
        """Return a page."""
        return _page(self._drawn(template, **values))

    def _drawn(self, template: str, **values: object) -> str:
        return self._environment.get_template(template).render(**values)

    async def _tests(self, uplink: str) -> Sequence[Any]:
        now_unix_ns = self._office.clock.now_unix_ns()
        span = Span(now_unix_ns - KEPT_NS, now_unix_ns + 1)
        return list(await self._office.read(lambda record, site: tests_of(record, site, uplink, span)))[:20]

    def _instant(self, unix_ns: int) -> Markup:
        """Return an instant as the site's clocks showed it, with its offset where that is another one than now."""
        zone = self._office.zone()
        at, now = local_time(unix_ns, zone), local_time(self._office.clock.now_unix_ns(), zone)
        shown = at if at.utcoffset() != now.utcoffset() else at.replace(tzinfo=None)
        text = shown.isoformat(sep=" ", timespec="seconds")
        return Markup('<time datetime="{}">{}</time>').format(at.isoformat(timespec="seconds"), text)


def kept(folder: Path) -> list[Path]:
    """Return the reports that may be read, the latest first; none where there is no folder."""
    return [one.path for one in reversed(listed(folder))]


class KeptReport(NamedTuple):
    """One report, by the time that it is about, with its files and what each is."""

    name: str
    files: list[tuple[str, str]]


def by_period(files: Sequence[Path]) -> list[KeptReport]:
    """Return the reports that these files are of, the latest first, each with its page first."""
    found: dict[str, list[str]] = {}
    for path in files:
        found.setdefault(path.name.partition(".")[0], []).append(path.name)
    order = [*_KINDS]
    return [
        KeptReport(
            name, [(_KINDS[Path(one).suffix], one) for one in sorted(names, key=lambda n: order.index(Path(n).suffix))]
        )
        for name, names in found.items()
    ]


def _page(text: str) -> web.Response:
    return web.Response(text=text, content_type="text/html")


async def _own_file(name: str, _request: web.Request) -> web.Response:
    return web.Response(body=(FOLDER / name).read_bytes(), content_type=_OWN_FILES[name], charset="utf-8")


def _speed(test: Measurement, way: str) -> str:
    run: Any = test.result.get(way) or {}
    bps = (run.get("goodput") or {}).get("bps")
    return "none" if bps is None else rate(bps) + ("" if run.get("counts") else ", does not count")
