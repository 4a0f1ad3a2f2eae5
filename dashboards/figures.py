"""Pictures, as Plotly describes them. The only place that knows Plotly; it is drawn by static/dashboards/picture.js."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from dashboards.words import MONTHS
from pmcore.queries.compliance_months import MonthOfFigure

INK, INK_2, HAIR = "#1c2a36", "#4b5b69", "#d5dbe0"
BLUE, OCHRE, OCHRE_GROUND = "#1f4e79", "#9a5b00", "#f7ecd6"
_FONT = 'system-ui, "Segoe UI", "DejaVu Sans", sans-serif'


@cache
def _template() -> Any:
    """Paper and ink instead of Plotly's own colours and ground."""
    from plotly import graph_objects as go

    axis = {"gridcolor": HAIR, "linecolor": HAIR, "zeroline": False, "tickfont": {"color": INK_2}, "fixedrange": True}
    return go.layout.Template(
        layout={
            "font": {"family": _FONT, "size": 14, "color": INK},
            "paper_bgcolor": "#fff",
            "plot_bgcolor": "#fff",
            "colorway": [BLUE, OCHRE],
            "margin": {"l": 48, "r": 12, "t": 36, "b": 56},
            "showlegend": False,
            "hoverlabel": {"bgcolor": "#fff", "bordercolor": INK_2, "font": {"color": INK}},
            "xaxis": axis,
            "yaxis": axis,
        }
    )


def misses_by_month(months: Sequence[MonthOfFigure], note: str | None) -> str:
    """Bars of what was not done inside its window, in percent of what was due: solid for still not done, hatched for
    done late; `note` stands over the last month. JSON."""
    from plotly import graph_objects as go

    labels = [_label(month) for month in months]
    undone = [month.tally.reason_recorded + month.tally.no_reason for month in months]
    late = [month.tally.met_late for month in months]
    due = [month.tally.due for month in months]
    figure = go.Figure(
        [
            _bars(labels, undone, due, "still not done", {"color": BLUE}),
            _bars(labels, late, due, "done late", _HATCHED),
        ]
    )
    highest = max((_percent(u + each, of) for u, each, of in zip(undone, late, due, strict=True)), default=0.0)
    top = max(4.0, highest * 1.25)
    figure.update_layout(
        template=_template(),
        barmode="stack",
        bargap=0.5,
        yaxis={"ticksuffix": " %", "rangemode": "tozero", "range": [0, top]},
        xaxis={"type": "category", "showgrid": False, "tickangle": 0},
    )
    if note and months:
        figure.add_annotation(x=labels[-1], y=top, text=note, showarrow=False, xanchor="right", xshift=24)
    return _in_a_script(figure)


_HATCHED = {
    "color": OCHRE_GROUND,
    "line": {"color": OCHRE, "width": 1},
    "pattern": {"shape": "/", "fgcolor": OCHRE, "bgcolor": OCHRE_GROUND, "size": 6, "solidity": 0.25},
}


def _bars(labels: list[str], counts: list[int], due: list[int], word: str, marker: dict[str, Any]) -> Any:
    from plotly import graph_objects as go

    return go.Bar(
        x=labels,
        y=[_percent(count, of) for count, of in zip(counts, due, strict=True)],
        name=word,
        marker=marker,
        customdata=[[count, of] for count, of in zip(counts, due, strict=True)],
        hovertemplate="%{customdata[0]} of %{customdata[1]} " + word + "<extra></extra>",
    )


def _percent(count: int, of: int) -> float:
    return 100 * count / of if of else 0.0


def _label(month: MonthOfFigure) -> str:
    return f"{MONTHS[month.begins_on.month - 1][:3]}<br>{month.tally.due:,}"


_FEW = 5  # failures: with fewer the whisker stands without its dot
_ROW, _LETTER, _COUNTS, _GAP = 40, 8, 150, 14  # pixels: a row, a letter of a name, the counts, and up to the axis
_LONGEST = 35  # letters of a name; what is longer is cut short here and stands whole in the table


@dataclass(frozen=True, slots=True)
class RateDot:
    """A row of the picture: the name of a group, `count` as it stands beside it, and its rates by device-year."""

    name: str
    count: str
    events: int
    rate: float
    lower: float
    upper: float
    shrunk: float


def rate_dots(rows: Sequence[RateDot]) -> str:
    """Dots with whiskers, the first row on top: the rate and its limits, and an open circle where it is pulled towards
    the others. JSON."""
    from plotly import graph_objects as go

    places = list(range(len(rows)))
    whiskers = [
        go.Scatter(
            x=[row.lower, row.upper], y=[place, place], mode="lines", hoverinfo="skip",
            line={"color": BLUE, "width": 6 if row.events < _FEW else 3},
        )
        for place, row in zip(places, rows, strict=True)
    ]  # fmt: skip
    told = [place for place in places if rows[place].events >= _FEW]
    dots = _dots(rows, told, [rows[place].rate for place in told], {"color": BLUE, "size": 11})
    pulled = {"symbol": "circle-open", "color": OCHRE, "size": 17, "line": {"width": 2.5}}  # lets the dot be seen
    circles = _dots(rows, places, [row.shrunk for row in rows], pulled)
    figure = go.Figure([*whiskers, dots, circles])
    names = _COUNTS + _LETTER * min(_LONGEST, max((len(row.name) for row in rows), default=0))
    highest = max((row.upper for row in rows), default=1.0)
    figure.update_layout(
        template=_template(),
        height=_ROW * max(len(rows), 1) + 84,
        margin={"l": names, "r": 24, "t": 8, "b": 64},
        xaxis={
            "range": [-0.02 * highest, 1.04 * highest],
            "showgrid": True,
            "title": {"text": "failures per device-year", "font": {"size": 14, "color": INK_2}},
        },
        yaxis={"range": [len(rows) - 0.5, -0.5], "showgrid": False, "showticklabels": False},
    )
    for place, row in zip(places, rows, strict=True):
        words = {"xref": "paper", "x": 0, "y": place, "showarrow": False}
        name = row.name if len(row.name) <= _LONGEST else f"{row.name[: _LONGEST - 1]}…"
        figure.add_annotation(text=name, xanchor="left", xshift=-names, font={"size": 15}, **words)
        figure.add_annotation(text=row.count, xanchor="right", xshift=-_GAP, font={"color": INK_2}, **words)
    return _in_a_script(figure)


def _dots(rows: Sequence[RateDot], places: list[int], values: list[float], marker: dict[str, Any]) -> Any:
    from plotly import graph_objects as go

    said = [f"{rows[place].name}: {value:.3g} a device-year" for place, value in zip(places, values, strict=True)]
    return go.Scatter(
        x=values, y=places, mode="markers", marker=marker, text=said, hovertemplate="%{text}<extra></extra>"
    )


def _in_a_script(figure: Any) -> str:
    """As JSON that can stand inside a script element."""
    written: str = figure.to_json().replace("<", "\\u003c")
    return written
