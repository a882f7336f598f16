"""The tags by what they render: escaping, labels, links between field and error."""

import re
import uuid
from html.parser import HTMLParser

import pytest
from django import forms
from django.template import Context, Template, TemplateSyntaxError
from django.test import RequestFactory

from shop.ui.forms import DecimalField, Renderer

EVIL = "<script>alert(1)</script>\"'>"


def show(source: str, **context) -> str:
    return Template("{% load ui %}" + source).render(Context(context))


class Draw(forms.Form):
    default_renderer = Renderer
    part = forms.CharField(label="Part", help_text="Scan it.")
    quantity = DecimalField(label="Quantity", unit="ml", required=False)
    how = forms.ChoiceField(label="How", choices=[("a", "A"), ("b", "B")], widget=forms.RadioSelect)
    token = forms.CharField(widget=forms.HiddenInput)


def tags(html: str) -> list[tuple[str, dict]]:
    found = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag, attrs):
            found.append((tag, dict(attrs)))

    Reader().feed(html)
    return found


def test_a_wrong_field_is_tied_to_its_hint_and_its_error():
    html = str(Draw({"part": "", "how": "a", "token": "x"}))
    box = next(a for t, a in tags(html) if t == "input" and a.get("name") == "part")
    assert box["aria-invalid"] == "true"
    ids = {a.get("id") for _, a in tags(html)}
    assert set(box["aria-describedby"].split()) == {"id_part_helptext", "id_part_error"} <= ids
    assert 'for="id_part"' in html
    assert "(optional)" in html


def test_the_summary_counts_and_links_and_names_hidden_fields_without_a_link():
    html = show("{% errors form %}", form=Draw({}))
    links = [a["href"] for t, a in tags(html) if t == "a"]
    assert links == ["#id_part", "#id_how"]
    assert "3 things to put right" in html
    assert "autofocus" in html
    ids = {a.get("id") for _, a in tags(str(Draw({})))}
    assert {"id_part", "id_how"} <= ids
    assert show("{% errors form %}", form=Draw()).strip() == ""


def test_each_posting_form_carries_its_own_id_and_the_csrf_token():
    request = RequestFactory().get("/")
    source = Template("{% load ui %}{% once %}")
    values = []
    for _ in range(2):
        html = source.render(Context({"request": request}))
        names = {a["name"]: a["value"] for t, a in tags(html)}
        assert len(names["csrfmiddlewaretoken"]) >= 32
        values.append(uuid.UUID(names["once"]))
    assert values[0] != values[1]


def test_table_cells_take_their_label_from_the_header():
    html = show(
        '{% table "Drawn" "Part" "#Cost" "!Actions" %}{% for p in parts %}{% row id=p %}{% cell %}{{ p }}{% endcell %}'
        "{% cell %}1{% endcell %}{% cell %}x{% endcell %}{% endrow %}{% endfor %}{% endtable %}",
        parts=["GKT-041", "RNG-078"],
    )
    cells = [a for t, a in tags(html) if t == "td"]
    assert [c.get("data-label") for c in cells] == ["Part", "Cost", None] * 2
    assert cells[1]["class"] == "num"
    assert [a["id"] for t, a in tags(html) if t == "tr" and "id" in a] == ["GKT-041", "RNG-078"]
    assert all("role" in a for t, a in tags(html) if t in ("table", "tr", "td", "th", "thead", "tbody"))


def test_an_empty_table_says_so_over_its_whole_width():
    html = show('{% table "Drawn" "Part" "Cost" empty="Nothing drawn." %}{% endtable %}')
    assert 'colspan="2">Nothing drawn.</td>' in html


def test_a_row_can_be_rendered_alone_for_a_swap():
    html = show('{% row cols=cols hx_get="/x/" %}{% cell %}a{% endcell %}{% endrow %}', cols=["#Cost"])
    assert html == (
        '<tr role="row" hx-get="/x/"><td role="cell" class="num head" data-label="Cost">a</td></tr>'
    )  # fmt: skip


@pytest.mark.parametrize("source", ["{% cell %}x{% endcell %}", "{% table %}{% endtable %}"])
def test_a_table_used_wrongly_is_refused(source):
    with pytest.raises(TemplateSyntaxError):
        show(source)


@pytest.mark.parametrize(
    "source",
    [
        '{% state "done" evil %}',
        "{% button evil %}",
        "{% button evil href=evil title=evil %}",
        "{% bigbutton evil sub=evil %}",
        "{% strip evil number=evil kicker=evil sub=evil waits=evil %}{% fact evil evil evil %}{% endstrip %}",
        "{% stage evil evil state=evil who=evil hours=evil %}{{ evil }}{% endstage %}",
        "{% totals %}{% total evil evil sub=evil %}{% endtotals %}",
        "{% notice evil %}{{ evil }}{% endnotice %}",
        "{% empty evil %}{{ evil }}{% endempty %}",
        "{% table evil evil empty=evil %}{% endtable %}",
        "{% table evil evil %}{% row id=evil %}{% cell %}{{ evil }}{% endcell %}{% endrow %}{% endtable %}",
        "{% undo evil action=evil label=evil hidden=hidden %}",
        "{% clock action=evil label=evil what=evil hidden=hidden %}",
        "{% tabs items evil %}",
        "{% history items %}",
        "{% files items %}",
        "{% limitband 1 0 2 evil evil label=evil %}",
        "{% scan_unknown evil %}",
        "{% signoff evil %}",
        "{{ 1|qty:evil }}",
    ],
)
def test_nothing_typed_by_a_person_becomes_markup(source):
    entry = dict.fromkeys(("label", "url", "count", "who", "what", "why", "name", "caption", "alt", "thumb"), EVIL)
    html = show(source, evil=EVIL, items=[entry], hidden={EVIL: EVIL})
    assert "<script" not in html
    assert not re.search(r'="[^"]*<', html)


def test_the_pager_keeps_the_filters_and_is_silent_on_a_single_page():
    request = RequestFactory().get("/cards/", {"state": "shop", "cursor": "old"})
    html = show("{% pager older=older newer=newer %}", request=request, older="b&c", newer=None)
    assert [a["href"] for t, a in tags(html) if t == "a"] == ["?state=shop&cursor=b%26c"]
    assert show("{% pager older=None newer=None %}", request=request).strip() == ""


def test_an_unknown_mark_is_told_with_what_there_is():
    with pytest.raises(KeyError, match="todo"):
        show('{% state "green" "Fine" %}')


def test_a_file_without_a_picture_is_a_link_and_one_with_has_its_alt():
    html = show("{% files items %}", items=[{"name": "a.pdf", "url": "/a"}, {"name": "b", "url": "/b", "thumb": "/t"}])
    assert [a["href"] for t, a in tags(html) if t == "a"] == ["/a", "/b"]
    assert [a["alt"] for t, a in tags(html) if t == "img"] == ["b"]
