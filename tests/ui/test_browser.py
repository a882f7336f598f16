"""The kit in real Chromium: accessibility, layout, weight, scanner, drafts, one press = one effect."""

import json
import re
from itertools import pairwise

import pytest

from tests.browser.chromium import WIDTHS, visit

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("path", ["", "?few=1", "bench/", "plain/"])
def test_nothing_to_object_to(chromium, specimen, path, width, dark):
    with visit(chromium, specimen + path, width=width, dark=dark) as seen:
        assert seen.flaws() == []


@pytest.mark.parametrize("status", [400, 403, 404, 413, 429, 500, 503])
def test_error_pages_are_accessible(chromium, specimen, status):
    with visit(chromium, f"{specimen}error/{status}/", width=360) as seen:
        assert seen.axe() == []
        assert seen.sideways() <= 0


def test_open_menus_are_accessible(chromium, specimen):
    with visit(chromium, specimen, width=360) as seen:
        for button, box in (("nav", "#nav"), ("person", "#person")):
            seen.page.click(f"[popovertarget={button}]")
            assert seen.page.locator(box).is_visible()
            assert seen.axe() == []
            assert seen.sideways() <= 0
            seen.page.keyboard.press("Escape")
            assert not seen.page.locator(box).is_visible()


def test_bench_targets_are_big_and_apart(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        sizes = seen.page.evaluate("""() => [...document.querySelectorAll(
            'main button, main a, main input:not([type=hidden]), .bench-nav a, .bench-nav button, .bench-top button')]
            .filter(e => e.checkVisibility()).map(e => [e.textContent.trim() || e.name, e.getBoundingClientRect().height])""")
        assert len(sizes) > 10
        assert [s for s in sizes if s[1] < 64] == []
        assert seen.page.locator(".clock").first.bounding_box()["height"] >= 120
        boxes = [b.bounding_box() for b in seen.page.locator(".big").all()]
        assert all(b["y"] - (a["y"] + a["height"]) >= 8 for a, b in pairwise(boxes))


@pytest.mark.parametrize("path", ["", "bench/", "plain/"])
def test_text_is_never_smaller_than_16_px(chromium, specimen, path):
    with visit(chromium, specimen + path, width=360) as seen:
        small = seen.page.evaluate("""() => [...document.querySelectorAll('body *')]
            .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))
            .filter(e => parseFloat(getComputedStyle(e).fontSize) < 16).map(e => e.outerHTML.slice(0, 80))""")
        assert small == []


def test_layout_does_not_shift(chromium, specimen):
    with visit(chromium, "about:blank", width=360) as seen:
        seen.page.add_init_script("""window.shift = 0; new PerformanceObserver(l => l.getEntries().forEach(
            e => { if (!e.hadRecentInput) window.shift += e.value })).observe({type: 'layout-shift', buffered: true})""")
        seen.page.goto(specimen)
        seen.page.wait_for_timeout(500)
        assert seen.page.evaluate("window.shift") <= 0.1


# --- scanner ----------------------------------------------------------------------------------------


def test_scans_fill_the_boxes_they_fit_in_any_order_and_wherever_the_focus_is(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        page, sent = seen.page, seen.posts()
        page.focus("#id_quantity")
        seen.scan("4006381333931")
        assert page.input_value("#id_part") == "4006381333931"
        assert page.input_value("#id_quantity") == "1"  # the keys did not stay in the box that had the focus
        assert page.evaluate("document.activeElement.id") == "id_card"
        page.evaluate("document.activeElement.blur()")
        seen.scan("C26-0031")
        assert page.input_value("#id_card") == "C26-0031"
        assert page.evaluate("document.activeElement.textContent.trim()") == "Draw"
        page.locator("#status", has_text="C26-0031").wait_for(state="attached")
        assert sent == []


def test_the_enter_of_a_scan_sends_no_form(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        sent = seen.posts()
        seen.page.fill("#id_part", "4006381333931")
        seen.page.focus("#id_card")
        seen.scan("C26-0031")
        seen.page.wait_for_timeout(200)
        assert sent == []


def test_enter_by_hand_goes_to_the_next_gap_and_sends_only_a_full_form(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        page, sent = seen.page, seen.posts()
        page.click("#id_card")
        page.keyboard.type("C26", delay=60)
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "id_part"
        assert sent == []
        page.keyboard.type("GKT", delay=60)
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert len(sent) == 1


def test_a_scan_changes_no_list_that_has_the_focus_and_keeps_the_separator_of_gs1(chromium, specimen):
    with visit(chromium, specimen + "?few=1") as seen:
        page = seen.page
        page.evaluate("document.addEventListener('scan', e => { e.preventDefault(); window.got = e.detail.code })")
        page.focus("#intake [name=bench]")
        page.evaluate("""() => { const el = document.activeElement, go = (key, ctrlKey = false) => el.dispatchEvent(
            new KeyboardEvent('keydown', {key, ctrlKey, bubbles: true, cancelable: true}));
            [...'10B'].forEach(k => go(k)); el.value = '2'; go(']', true); [...'17'].forEach(k => go(k)); go('Enter') }""")
        assert page.evaluate("got") == "10B\u001d17"
        assert page.input_value("#intake [name=bench]") == "1"


def test_a_repeat_within_half_a_second_is_ignored(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        page = seen.page
        page.evaluate("window.n = 0; document.addEventListener('scan', () => n++)")
        seen.scan("4006381333931", 5)
        seen.scan("4006381333931", 5)
        assert page.evaluate("n") == 1
        page.wait_for_timeout(700)
        seen.scan("4006381333931", 5)
        assert page.evaluate("n") == 2


def test_slow_typing_is_no_scan(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        seen.page.evaluate("window.n = 0; document.addEventListener('scan', () => n++)")
        seen.page.click("#id_card")
        seen.scan("C26-0031", 70)
        assert seen.page.evaluate("n") == 0
        assert seen.page.input_value("#id_card") == "C26-0031"


def test_an_unknown_code_is_told_by_text_and_sound(chromium, specimen):
    with visit(chromium, specimen + "bench/", width=360) as seen:
        page = seen.page
        page.evaluate("document.querySelectorAll('[data-scan-into]').forEach(e => e.dataset.scanInto = '^ZZ')")
        seen.scan("4006381333931")
        page.locator("#status", has_text="4006381333931").wait_for(state="attached")
        assert page.get_attribute("body", "data-last-sound") == "unknown"
        assert page.input_value("#id_part") == ""


def test_without_a_box_a_scan_leads_to_the_page_of_the_code(chromium, specimen):
    with visit(chromium, specimen + "?few=1") as seen:
        page = seen.page
        page.evaluate("document.getElementById('draw').remove()")
        with page.expect_request(re.compile("/scan/")) as asked:
            seen.scan("C26-0031/4")
        assert asked.value.url.endswith("/scan/?code=C26-0031%2F4")


def test_a_page_may_take_the_scan_itself(chromium, specimen):
    with visit(chromium, specimen + "bench/") as seen:
        seen.page.evaluate("document.addEventListener('scan', e => { e.preventDefault(); window.got = e.detail.code })")
        seen.scan("4006381333931")
        assert seen.page.evaluate("got") == "4006381333931"
        assert seen.page.input_value("#id_part") == ""


# --- one press, drafts, focus -----------------------------------------------------------------------


def test_a_double_click_posts_once_and_the_posting_has_an_id(chromium, specimen):
    with visit(chromium, specimen) as seen:
        page, sent = seen.page, seen.posts()
        page.fill("#draw #id_card", "C1")
        page.fill("#draw #id_part", "P1")
        page.evaluate("const b = document.querySelector('#draw [name=go]'); b.click(); b.click()")
        page.wait_for_load_state()
        page.get_by_text("Drawn: 2 of GKT-041").wait_for()
        assert len(sent) == 1
        assert re.search(r"once=[0-9a-f-]{36}", sent[0])
        assert "go=draw" in sent[0]


def test_what_was_typed_survives_leaving_the_page_and_can_be_brought_back(chromium, specimen):
    with visit(chromium, specimen) as seen:
        page = seen.page
        page.fill("#intake [name=customer]", "Mara Quill")
        page.fill("#intake [name=complaint]", "Smokes white")
        page.check("#intake [value=fetched]")
        page.goto(specimen + "plain/")  # the session ran out: the sign-in page comes instead
        page.goto(specimen)
        assert page.input_value("#intake [name=customer]") == ""
        assert seen.axe() == []
        page.get_by_role("button", name="Bring it back").click()
        assert page.input_value("#intake [name=customer]") == "Mara Quill"
        assert page.input_value("#intake [name=complaint]") == "Smokes white"
        assert page.is_checked("#intake [value=fetched]")


def test_a_draft_sent_into_an_expired_session_is_kept_and_a_saved_one_is_gone(chromium, specimen):
    with visit(chromium, specimen) as seen:
        page = seen.page
        page.route("**/specimen/", lambda r: r.fulfill(status=302, headers={"Location": specimen + "plain/"})
                   if r.request.method == "POST" else r.continue_())  # fmt: skip
        page.fill("#booking [name=reason]", "Forgot again")
        page.click("#booking button")
        page.wait_for_url("**/plain/")
        page.unroute("**/specimen/")
        page.goto(specimen)
        page.get_by_role("button", name="Bring it back").click()
        assert page.input_value("#booking [name=reason]") == "Forgot again"
        page.click("#booking button")
        page.get_by_text("Drawn: 2 of GKT-041").wait_for()  # the specimen's answer to every posting
        assert page.get_by_role("button", name="Bring it back").count() == 0
        assert page.evaluate("Object.keys(sessionStorage).filter(k => k.startsWith('draft|'))") == []


def test_a_draft_is_thrown_away_on_request_and_passwords_are_never_kept(chromium, specimen):
    with visit(chromium, specimen + "plain/") as seen:
        seen.page.fill("#id_name", "ines")
        seen.page.fill("#id_pw", "secret-word")
        assert "secret-word" not in json.dumps(seen.page.evaluate("({...sessionStorage})"))
    with visit(chromium, specimen) as seen:
        seen.page.fill("#intake [name=customer]", "Mara Quill")
        seen.page.goto(specimen)
        seen.page.get_by_role("button", name="Throw it away").click()
        seen.page.goto(specimen)
        assert seen.page.get_by_role("button", name="Bring it back").count() == 0


def test_the_error_summary_takes_the_focus_and_leads_to_the_fields(chromium, specimen):
    with visit(chromium, specimen, width=360) as seen:
        page = seen.page
        page.evaluate("document.getElementById('intake').noValidate = true")
        page.fill("#intake [name=customer]", "Mara Quill")
        page.click("#intake button[type=submit]")
        page.locator(".error-summary").wait_for()
        assert page.evaluate("document.activeElement.className") == "error-summary"
        assert seen.axe() == []
        page.click(".error-summary a >> nth=0")
        assert page.evaluate("document.activeElement.name") == "serial"
        page.get_by_role("link", name="How it came").click()
        assert page.evaluate("document.activeElement.name") == "arrives"


def test_focus_survives_a_swap_and_the_change_is_spoken(chromium, specimen):
    with visit(chromium, specimen) as seen:
        page = seen.page
        page.focus("#gate-button")
        page.keyboard.press("Enter")
        page.get_by_text("signed 1 times").wait_for()
        page.locator("#gate-button:focus").wait_for(state="attached")
        page.locator("#status", has_text="Gate signed: ports covered").wait_for(state="attached")
        assert seen.console == []


def test_an_expired_session_during_a_swap_leads_to_the_sign_in_page_and_back(chromium, specimen):
    with visit(chromium, specimen) as seen:
        page = seen.page
        page.route("**/swap/**", lambda r: r.fulfill(status=401, body="sign in"))
        with page.expect_request(re.compile("/sign-in/")) as asked:
            page.click("#gate-button")
        assert "next=%2Fui%2Fspecimen%2F" in asked.value.url


def test_a_lost_connection_is_told(chromium, specimen):
    with visit(chromium, specimen) as seen:
        seen.page.route("**/swap/**", lambda r: r.abort())
        seen.page.click("#gate-button")
        seen.page.locator("#status", has_text="No connection").wait_for(state="attached")


def test_slash_leads_to_the_search_unless_switched_off(chromium, specimen):
    with visit(chromium, specimen + "?few=1") as seen:
        page = seen.page
        page.keyboard.press("/")
        assert page.evaluate("document.activeElement.id") == "find"
        assert page.input_value("#find") == ""
        page.click("[popovertarget=person]")
        page.click("[data-keys]")
        assert page.inner_text("[data-keys]").endswith("off")
        page.keyboard.press("Escape")
        page.evaluate("document.activeElement.blur()")
        page.keyboard.press("/")
        assert page.evaluate("document.activeElement.id") != "find"


def test_the_clock_runs(chromium, specimen):
    with visit(chromium, "about:blank", width=360) as seen:
        page = seen.page
        page.clock.install()
        page.goto(specimen + "bench/")
        page.clock.run_for(60 * 60 * 1000)
        hours, minutes = map(int, page.inner_text(".clock-time >> nth=0").split(":"))
        assert 3 * 60 + 6 <= hours * 60 + minutes <= 3 * 60 + 8


def test_every_form_and_menu_works_without_script(chromium, specimen):
    with visit(chromium, specimen, width=360, script=False) as seen:
        page = seen.page
        page.click("[popovertarget=nav]")
        page.get_by_role("link", name="Estimates").wait_for()
        page.keyboard.press("Escape")
        page.fill("#draw [name=card]", "C1")
        page.fill("#draw [name=part]", "P1")
        page.click("#draw [name=go]")
        page.get_by_text("Drawn: 2 of GKT-041").wait_for()


def test_paper_carries_the_card_and_not_the_screen(chromium, specimen, tmp_path):
    pypdf = pytest.importorskip("pypdf")
    with visit(chromium, specimen, dark=True) as seen:
        seen.page.pdf(path=tmp_path / "card.pdf", prefer_css_page_size=True)
    pages = pypdf.PdfReader(tmp_path / "card.pdf").pages
    assert [round(float(v)) for v in pages[0].mediabox[2:]] == [595, 842]
    text = pages[0].extract_text()
    assert "26-0031" in text
    assert "Fit rings and pistons" in text
    assert "Sign out" not in text
    assert "Suppliers" not in text
