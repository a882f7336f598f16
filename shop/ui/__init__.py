"""Page shell and component kit of the staff pages. Load the tags with `{% load ui %}`.

The specimen at /ui/specimen/ (DEBUG only) shows every component in every state; start from its templates.

Pages
    {% extends "ui/base.html" %}    office pages. Blocks: title, main; also head, footer, person_menu.
    {% extends "ui/bench.html" %}   phone and tablet at the bench: big targets, bottom nav. Block: where.
    {% extends "ui/plain.html" %}   sign-in, errors, customer links (no navigation, no person).
                                    A document for the customer: {% block body_class %}letter{% endblock %} is wider.
    400 403 (reason="csrf") 404 413 (limit) 429 (retry_after) 500 503 .html are there; each also shows request_id.

Forms (FORM_RENDERER = "shop.ui.forms.Renderer")
    <form method="post">{% once %} ...                CSRF token and the hidden posting id `once` (a uuid)
    {{ form }}                                        error summary and all fields
    {% errors form other_form %}  {% field form.name label="" hint="" %}     the same by hand
    {% button "Save" %}  {% button "Print" "plain" href="/x/" %}  main plain quiet; name= value= hx_post= ...
    <div class="pair">two fields beside each other</div>   <div class="actions">buttons in a row</div>
    shop.ui.forms: DecimalField(unit="ml"), WholeInput, DateInput, DateTimeInput, PhotoInput,
        ScanInput(pattern="^C")
    {% filters form %}                                GET filter bar
    {% newer form %}                                  after a stale edit: stored beside typed (shop/ui/newer.py)
    A form that must keep no draft of what is typed: <form data-no-draft>.

Blocks
    {% strip title number="26-0031" kicker="Job card" sub="" waits="parts" mark="hold" %}
        {% fact .. %}{% endstrip %}
    {% facts %}{% fact "Serial" value sub="" href="" %}{% endfacts %}       css="one" for a single column
    {% stages %}{% stage 1 "Strip" mark="done" state="Finished" who="" hours="2 h" href="" current=False %}
        gates, notes, buttons {% endstage %}{% endstages %}
    {% totals %}{% total "Net" amount|money:"EUR" %}{% total "To pay" x strong=True %}{% endtotals %}
    {% notice "Lifting" kind="caution" %}<p>..</p>{% endnotice %}           note caution problem
    {% empty "No cards yet" %}<p>how to get one</p>{% endempty %}
    {% undo "Drew 2 of GKT-041." action=url label="Put them back" hidden=dict %}
    <div class="columns"> / <div class="columns even"> two columns; <div class="page-head"> h1 and its button

Lists
    {% table "Open cards" "Card" "Machine" "#Worth" "!Actions" empty="None yet." %}
      {% for c in cards %}{% row %}{% cell %}..{% endcell %} ... {% endrow %}{% endfor %}
    {% endtable %}       "#" numeric, "!" header only heard; also cols=list, show_caption=False, foot=, id=
                         a row alone (htmx): {% row cols=list id="r1" hx_get="/x/" %}
    {% pager older=cursor newer=cursor param="cursor" %}     by name: on="Further" back="Back"
                         page = shop.ui.lists.page_of(request, rows, order): page.items page.next page.previous
    {% tabs items "Views" %}      items: label url current count
    {% history entries %}         entries: when who what why
    {% files items %}             items: name url size thumb alt caption when who

    {% panels "customer" row %}                         what upper rooms show of it (shop/ui/panels.py)

Marks, readings, bench
    {% state "hold" "Waits for parts" %}  {% state "late" "Late by 2 days" "strong" %}  {% mark "done" %}
        marks: todo draft doing done hold late kept sent near out off open (meaning: shop/ui/marks.py)
    {% limitband reading low high "MMT" "Within" "done" uncertainty=u label="Bore 1" %}
        Decimals; low or high may be None
    <div class="bigs">{% bigbutton "Draw parts" "second line" href="/x/" mark="sent" css="main" %}</div>
    {% clock since=dt action=url label="Clock off" what="26-0031 · stage 4" hidden=dict %}
    {% signoff "Mechanic, date" "Customer, date" %}   print only.  class="no-print" hides on paper.

Filters
    money:"EUR"  qty:"MLT"  hours  when  day  days_from_now  clocked  number  filesize  iso

Script (static/ui/ui.js)
    Scanner: <input data-scan-into="^C"> takes matching codes; without any such box the body's data-scan-go
    leads to /scan/?code=. What the camera reads is scanned as if by the scanner (static/ui/camera,
    shop/ui/camera.py): ScanInput has its button; right behind another box put {% include "ui/parts/camera_button.html" %}. The separator of a GS1 code arrives as "\\x1d". Before either a cancelable `scan` event (detail.code) is fired. A code the server
    does not know: {% scan_unknown code %} or HX-Trigger: {"scan:unknown": {"code": "..", "message": ".."}}.
    Saying something: the header HX-Trigger: {"say": "Drawn: 2 of GKT-041"} or the messages framework.
    htmx swaps 2xx and 400 409 412 422; answer a form with mistakes as 422. After a swap the focus returns to
    the same control, or to [data-focus], or to an error summary.
"""
