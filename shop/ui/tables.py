"""Template nodes of the data table: {% table %} {% row %} {% cell %}.

The header is written once; each cell takes its label from it, so that on a phone the row can turn into
a labelled stack. ARIA roles are explicit because a table laid out as blocks loses its own.
"""

from collections.abc import Iterable

from django import template
from django.template.base import FilterExpression, NodeList, Parser, Token, token_kwargs
from django.template.context import Context
from django.utils.html import conditional_escape, format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

KEY = "_ui_table"


class Column:
    """One header: "#Cost" is numeric (right-aligned, tabular), "!Actions" has a header only for the ear."""

    def __init__(self, text: str, first: bool = False):
        text = str(text)
        self.numeric = text.startswith("#")
        self.unseen = text.startswith("!")
        self.label = text[1:] if self.numeric or self.unseen else text
        self.classes = " ".join(filter(None, ("num" if self.numeric else "", "head" if first else "")))
        # Written once for a column, not once for a cell: a list has thousands of cells.
        self.named = format_html(' data-label="{}"', self.label) if self.label and not self.unseen else ""
        self.opening = self.open(self.classes)
        self.opening_void = self.open(f"{self.classes} void".strip())

    def open(self, classes: str) -> str:
        css = format_html(' class="{}"', classes) if classes else ""
        return f'<td role="cell"{css}{self.named}'


def _columns(heads: Iterable[str]) -> list[Column]:
    return [Column(head, first=n == 0) for n, head in enumerate(heads)]


BEYOND = Column("")


def _arguments(parser: Parser, token: Token) -> tuple[list[FilterExpression], dict[str, FilterExpression]]:
    bits = token.split_contents()[1:]
    args: list[FilterExpression] = []
    while bits:
        named = token_kwargs([bits[0]], parser)
        if named:
            break
        args.append(parser.compile_filter(bits.pop(0)))
    return args, token_kwargs(bits, parser)


class TableNode(template.Node):
    def __init__(self, args: list, kwargs: dict, body: NodeList):
        self.args, self.kwargs, self.body = args, kwargs, body
        self.nodelist = body

    def render(self, context: Context) -> SafeString:
        values = [a.resolve(context) for a in self.args]
        named = {k: v.resolve(context) for k, v in self.kwargs.items()}
        caption, heads = values[0], list(values[1:]) or list(named.get("cols") or [])
        columns = _columns(heads)
        state = {"columns": columns, "rows": 0, "cell": 0}
        with context.push(**{KEY: state}):
            body = self.body.render(context)
        if not state["rows"]:
            body = format_html(
                '<tr role="row" class="none"><td role="cell" colspan="{}">{}</td></tr>',
                len(columns),
                named.get("empty") or "–",
            )
        head = format_html_join(
            "",
            '<th role="columnheader" scope="col"{}>{}</th>',
            (
                (
                    mark_safe(' class="num"') if c.numeric else "",
                    format_html('<span class="sr">{}</span>', c.label) if c.unseen else c.label,
                )
                for c in columns
            ),
        )
        css = ("rows " + str(named.get("css", ""))).strip()
        show = "" if named.get("show_caption", True) else mark_safe(' class="sr"')
        ident = format_html(' id="{}"', named["id"]) if named.get("id") else ""
        return format_html(
            '<table role="table" class="{}"{}><caption{}>{}</caption>'
            '<thead role="rowgroup"><tr role="row">{}</tr></thead>'
            '<tbody role="rowgroup">{}</tbody>{}</table>',
            css, ident, show, caption, head, body, named.get("foot") or "",
        )  # fmt: skip


class RowNode(template.Node):
    def __init__(self, args: list, kwargs: dict, body: NodeList):
        self.args, self.kwargs, self.nodelist = args, kwargs, body

    def render(self, context: Context) -> SafeString:
        named = {k: v.resolve(context) for k, v in self.kwargs.items()}
        state = context.get(KEY)
        if state is None or "cols" in named:  # a row on its own, swapped into a table already on the page
            state = {"columns": _columns(named.pop("cols", ())), "rows": 0, "cell": 0}
        state["rows"] += 1
        state["cell"] = 0
        with context.push(**{KEY: state}):
            body = self.nodelist.render(context)
        return mark_safe(f'<tr role="row"{attributes(named)}>{body}</tr>')  # noqa: S308  both parts are escaped


class CellNode(template.Node):
    def __init__(self, args: list, kwargs: dict, body: NodeList):
        self.args, self.kwargs, self.nodelist = args, kwargs, body

    def render(self, context: Context) -> SafeString:
        state = context.get(KEY)
        if state is None:
            raise template.TemplateSyntaxError("{% cell %} stands inside {% row %}")
        index, columns = state["cell"], state["columns"]
        state["cell"] = index + 1
        column = columns[index] if index < len(columns) else BEYOND
        body = self.nodelist.render(context)
        void = not body or body.isspace()
        if not self.kwargs:
            opening = column.opening_void if void else column.opening
            return mark_safe(f"{opening}>{body}</td>")  # noqa: S308  both parts are escaped
        named = {k: v.resolve(context) for k, v in self.kwargs.items()}
        classes = " ".join(filter(None, [column.classes, str(named.pop("css", "")), "void" if void else ""]))
        return mark_safe(f"{column.open(classes)}{attributes(named)}>{body}</td>")  # noqa: S308


def attributes(named: dict) -> SafeString:
    """Keywords as attributes: hx_get becomes hx-get, True a bare attribute, None and False nothing."""
    out = ""
    for key, value in named.items():
        if value is None or value is False:
            continue
        name = key.rstrip("_").replace("_", "-")
        out += f" {name}" if value is True else f' {name}="{conditional_escape(value)}"'
    return mark_safe(out)  # noqa: S308  names are Python keywords, values are escaped


def _compiler(node: type, end: str):
    def compile_tag(parser: Parser, token: Token) -> template.Node:
        args, kwargs = _arguments(parser, token)
        if node is TableNode and not args:
            raise template.TemplateSyntaxError("{% table %} needs a caption: it tells what the table lists")
        body = parser.parse((end,))
        parser.delete_first_token()
        return node(args, kwargs, body)

    return compile_tag


def register_into(register: template.Library) -> None:
    register.tag("table", _compiler(TableNode, "endtable"))
    register.tag("row", _compiler(RowNode, "endrow"))
    register.tag("cell", _compiler(CellNode, "endcell"))
