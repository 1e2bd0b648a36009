"""A drawing of the printed review as SVG."""

from html import escape

from pipelines.review_drawing import POINT_MM, Area, Dot, Drawing, Line, Mark, Text


def drawing_svg(drawing: Drawing, *, name: str, alternative: str) -> str:
    """The drawing, as wide as its place; `name` is its class, `alternative` what it says to who cannot see it."""
    return (
        f'<svg class="{escape(name)}" role="img" aria-label="{escape(alternative)}" '
        f'viewBox="0 0 {drawing.width:g} {drawing.height:.1f}" font-family="Helvetica, Arial, sans-serif">'
        f"{''.join(map(_mark, drawing.marks))}</svg>"
    )


def _mark(mark: Mark) -> str:
    match mark:
        case Text():
            return (
                f'<text x="{mark.x:.2f}" y="{mark.y:.2f}" font-size="{mark.size * POINT_MM:.2f}" fill="{mark.colour}" '
                f'font-weight="{mark.weight}" text-anchor="{mark.anchor}">{escape(mark.text)}</text>'
            )
        case Line():
            (x1, y1), (x2, y2) = mark.start, mark.end
            return (
                f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="{mark.colour}" '
                f'stroke-width="{mark.width:g}" stroke-linecap="round"/>'
            )
        case Area():
            corners = " ".join(f"{x:.2f},{y:.2f}" for x, y in mark.corners)
            return f'<polygon points="{corners}" fill="{mark.colour}"/>'
        case Dot():
            return f'<circle cx="{mark.x:.2f}" cy="{mark.y:.2f}" r="{mark.radius:g}" fill="{mark.colour}"/>'
