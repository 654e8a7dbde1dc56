"""The report as one HTML file that needs nothing else; prints as well as it reads."""

from markupsafe import Markup

from voicelog.showing.pages import inline, render
from voicelog.showing.report import Report

POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def to_html(report: Report) -> str:
    """The page as text. The pictures are our own SVG and stand in it as they are."""
    pictures = [(picture, _own_names(picture.svg, i)) for i, picture in enumerate(report.pictures)]
    css = inline("base.css", "report.css")
    return render("report.html", report=report, policy=POLICY, css=css, pictures=pictures)


def _own_names(svg: str, index: int) -> Markup:
    """Pictures of one page share its names: each gets its own hatches."""
    return Markup(svg.replace("hatch-", f"p{index}-hatch-"))
