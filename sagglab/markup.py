"""Markup: tables, lists and boxes as HTML in the one look; it knows nothing of pots.

Colours are the front end's own ink (`currentColor`), thinned for rules and quiet words, so that one page
reads in light and dark themes and on paper. Everything that goes in as text is escaped.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Sequence

#: The quiet ink keeps a contrast of 6.6 on JupyterLab's light theme and 7.6 on its dark one. Selectors name
#: the frame and the table, since JupyterLab's own for tables in outputs outweigh a class alone.
STYLE = """
.sagglab {max-width: 60rem; line-height: 1.5; font-size: var(--jp-content-font-size1, 14px)}
.sagglab p, .sagglab ul, .sagglab ol {margin: .4em 0}
.sagglab ul, .sagglab ol {padding-left: 1.4em}
.sagglab li {margin: .15em 0}
.sagglab .answer {font-size: 115%}
.sagglab .quiet {color: color-mix(in srgb, currentColor 78%, transparent); font-size: 90%}
.sagglab .wide {overflow-x: auto; max-width: 100%; margin: .6em 0}
@media print {.sagglab .wide {overflow: visible} .sagglab .wide table {font-size: 65%}}
.sagglab .wide table {border-collapse: collapse; table-layout: auto; margin: 0; color: inherit;
  font-size: 93%; font-variant-numeric: tabular-nums}
.sagglab .wide caption {text-align: left; font-weight: 600; padding: .2em 0}
.sagglab .wide table tr, .sagglab .wide table tbody tr:nth-child(n) {background: none}
.sagglab .wide table th, .sagglab .wide table td {padding: .28em .8em .28em 0; text-align: left;
  vertical-align: top; white-space: nowrap; border: 0;
  border-bottom: 1px solid color-mix(in srgb, currentColor 18%, transparent)}
.sagglab .wide table th {font-weight: 600; vertical-align: bottom; white-space: normal;
  border-bottom: 1.5px solid color-mix(in srgb, currentColor 60%, transparent)}
.sagglab .wide table .n {text-align: right}
.sagglab .wide table .words {white-space: normal; min-width: 14em}
.sagglab details > summary {cursor: pointer; margin: .4em 0}
.sagglab summary:focus-visible {outline: 2px solid currentColor; outline-offset: 2px}
.sagglab .patch {print-color-adjust: exact; -webkit-print-color-adjust: exact; vertical-align: middle;
  box-sizing: border-box; border: 1px solid color-mix(in srgb, currentColor 45%, transparent)}
.sagglab .cut {clip-path: polygon(0 0, calc(100% - .7em) 0, 100% .7em, 100% 100%, 0 100%)}
.sagglab .titled {display: inline-block; text-align: center; font-size: 90%; margin: .2em .4em .2em 0}
.sagglab.told {border: 1px solid color-mix(in srgb, currentColor 40%, transparent); border-radius: 4px;
  border-left: .5em solid var(--jp-error-color1, #c62828); padding: .5em 1em; box-sizing: border-box}
.sagglab.told dl {display: grid; grid-template-columns: max-content 1fr; gap: .2em 1em; margin: .5em 0}
.sagglab.told dl dt {font-weight: 600; margin: 0; width: auto; float: none; white-space: nowrap}
.sagglab.told dl dd {margin: 0; width: auto; float: none; overflow-wrap: anywhere}
.sagglab.told strong, .sagglab.told dd {white-space: pre-line}
.sagglab.told pre {overflow-x: auto; white-space: pre; padding: .6em; font-size: 88%; color: inherit;
  background: color-mix(in srgb, currentColor 6%, transparent)}
.jp-OutputArea-child:has(.sagglab.told) + .jp-OutputArea-child:has([data-mime-type$="stderr"],
  [data-mime-type$="error"]) {display: none}
"""

#: A cell of a number, with its sign before it and its unit or its interval behind it.
_NUMBER = re.compile(
    r"[<>≤≥+−±]?[\s\u00a0]?(\d+(\.\d+)?|∞)( ?[%°A-Za-z/²]+)*( \(([−+]?[\d∞]|no bound).*\)| × .*)?"
)
#: From so many letters on a cell is words, which may run over several lines.
_WORDS = 40
_RUNNING = ' class="words"'


def framed(*parts: str) -> str:
    """Put parts of HTML together as one page in the one look."""
    return f'<style>{STYLE}</style><div class="sagglab">{"".join(parts)}</div>'


def paragraph(text: str, kind: str = "") -> str:
    """Make a sentence a paragraph: the ``answer``, a ``quiet`` remark, or neither."""
    named = f' class="{kind}"' if kind else ""
    return f"<p{named}>{html.escape(text)}</p>" if text else ""


def listed(texts: Iterable[str]) -> str:
    """Make sentences a list; none make nothing."""
    return _list("ul", texts)


def in_order(texts: Iterable[str]) -> str:
    """Make steps a numbered list; none make nothing."""
    return _list("ol", texts)


def _list(kind: str, texts: Iterable[str]) -> str:
    items = "".join(f"<li>{html.escape(text)}</li>" for text in texts)
    return f"<{kind}>{items}</{kind}>" if items else ""


def folded(summary: str, *parts: str) -> str:
    """Fold parts of HTML away below a line that opens them."""
    return f"<details><summary>{html.escape(summary)}</summary>{''.join(parts)}</details>"


def text_table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    caption: str = "",
    patches: Sequence[str] | None = None,
) -> str:
    """Make a table of text: columns of numbers to the right, others to the left, in a box that scrolls.

    Parameters
    ----------
    heads : sequence of str
    rows : sequence of sequence of str
    caption : str
    patches : sequence of str, optional
        HTML, one for each row, which a first column of colours holds.
    """
    right = [_numbers([row[place] for row in rows]) for place in range(len(heads))]
    kinds = [' class="n"' if number else "" for number in right]
    top = "".join(
        f'<th scope="col"{kind}>{html.escape(head)}</th>' for head, kind in zip(heads, kinds, strict=True)
    )
    if patches is not None:
        top = f'<th scope="col">colour</th>{top}'
    body = []
    for place, row in enumerate(rows):
        cells = "".join(
            f"<td{kind or (_RUNNING if len(cell) >= _WORDS else '')}>{html.escape(cell)}</td>"
            for cell, kind in zip(row, kinds, strict=True)
        )
        patch = "" if patches is None else f"<td>{patches[place]}</td>"
        body.append(f"<tr>{patch}{cells}</tr>")
    named = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    return (
        f'<div class="wide"><table>{named}<thead><tr>{top}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>"
    )


def _numbers(cells: Sequence[str]) -> bool:
    # A word may stand where a number could not be had.
    filled = [cell for cell in cells if cell]
    return 2 * sum(_NUMBER.fullmatch(cell) is not None for cell in filled) > len(filled)


def fault_box(cause: str, where: str, remedy: str, more: str, traceback: str) -> str:
    """Make what went wrong one box, which a screen reader reads out at once.

    Parameters
    ----------
    cause, where, remedy : str
        What is wrong, where, and how to mend it; an empty one is left out.
    more : str
        HTML that stands below them.
    traceback : str
        What the code was doing, folded away; may be empty.
    """
    told = "".join(
        f"<dt>{head}</dt><dd>{html.escape(text)}</dd>"
        for head, text in (("Where", where), ("How to mend it", remedy))
        if text
    )
    below = folded("Where in the code (for whoever looks after it)", f"<pre>{html.escape(traceback)}</pre>")
    return (
        f'<style>{STYLE}</style><div class="sagglab told" role="alert">'
        f"<p><strong>✕ Stopped: {html.escape(cause)}</strong></p><dl>{told}</dl>{more}"
        f"{below if traceback else ''}</div>"
    )
