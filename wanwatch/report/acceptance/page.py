"""The certificate as one page: a file that loads nothing and runs nothing, for a screen, a printer, a signature."""

from markupsafe import Markup

from wanwatch import __version__
from wanwatch.core.acceptance import Compared, Verdict
from wanwatch.report.acceptance import story
from wanwatch.report.acceptance.values import Certificate
from wanwatch.report.html import PAGE, page_environment

_CLASSES = {Verdict.PASS: "met", Verdict.FAIL: "breached", Verdict.NOT_DECIDED: "undecided"}
_WORDS = {Verdict.PASS: "✓ pass", Verdict.FAIL: "✕ fail", Verdict.NOT_DECIDED: "? not decided"}


def render_html(certificate: Certificate) -> str:
    """Return the certificate as an HTML page; the same certificate gives the same bytes."""
    environment = page_environment(certificate.pen)
    environment.filters.update(
        verdict=_WORDS.__getitem__,
        look=_CLASSES.__getitem__,
        left_after=story.left_after,
        instant=certificate.pen.dated,
    )
    style = "".join((PAGE / file).read_text("utf-8") for file in ("month.css", "acceptance.css"))
    return environment.get_template("acceptance.html").render(
        certificate=certificate,
        site=certificate.site,
        test=certificate.test,
        given=certificate.test.handover,
        contract=certificate.contract,
        style=Markup(style),  # noqa: S704 - our own files
        headline=story.headline(certificate),
        sections=_sections(certificate),
        worse=sum(pair.worse for pair in certificate.compared),
        methods=_methods(certificate),
        cautions=story.CAUTIONS,
        version=__version__,
    )


def _sections(certificate: Certificate) -> list[tuple[str, list[Compared]]]:
    """The items by table; a table without an item is left out, and one of the first test only stands in no table."""
    pairs = [pair for pair in certificate.compared if pair.now is not None]
    found = [(title, [pair for pair in pairs if pair.now and pair.now.about in of]) for title, of in story.SECTIONS]
    return [(title, rows) for title, rows in found if rows]


def _methods(certificate: Certificate) -> dict[str, str]:
    """Each method with the items that were found by it."""
    titles: dict[str, dict[str, None]] = {}
    for item in certificate.test.items:
        titles.setdefault(item.method, {})[item.title] = None
    return {", ".join(found): method for method, found in titles.items()}
