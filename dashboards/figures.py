"""Pictures, as Plotly describes them. The only place that knows Plotly; it is drawn by static/dashboards/picture.js."""

from collections.abc import Sequence
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
    written: str = figure.to_json().replace("<", "\\u003c")  # it stands inside a script element
    return written


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
