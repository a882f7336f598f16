"""Which VAT and labour rate holds when; what the owner may change."""

from datetime import date, time
from decimal import Decimal

import pytest

from jobs.plans.models import StageKind
from shop.business import actions, queries
from shop.business.models import Site, TaxRate
from shop.business.rates import STAGE_KINDS, check_tax
from shop.kernel.errors import BadInput, Refused, Stale
from tests.factories import business as made

D = Decimal


def test_stage_kinds_are_those_of_the_plans():
    assert list(STAGE_KINDS) == StageKind.values


@pytest.mark.django_db
class TestTax:
    def test_without_a_rate_the_message_says_who_adds_it(self):
        with pytest.raises(Refused, match="The owner adds one") as caught:
            queries.tax_rate("", date(2026, 1, 1))
        assert caught.value.code == "no-tax-rate"

    def test_a_change_holds_from_its_day_and_keeps_the_default(self, owner):
        old = made.tax_rates(owner)["S23"]
        new = actions.change_tax_rate(old.pk, old.version, percent=D("21"), valid_from=date(2027, 1, 1), by=owner)
        assert queries.tax_rate("", date(2026, 12, 31)).percent == D("23")
        assert queries.tax_rate("", date(2027, 1, 1)).percent == D("21")
        assert queries.tax_rate("S23", date(2027, 1, 1)) == new
        with pytest.raises(Stale):
            actions.change_tax_rate(old.pk, old.version, percent=D("20"), valid_from=date(2028, 1, 1), by=owner)
        with pytest.raises(Refused):
            actions.change_tax_rate(old.pk, None, percent=D("20"), valid_from=date(2028, 1, 1), by=owner)

    @pytest.mark.parametrize(
        ("category", "percent", "reason", "field"),
        [
            ("S", "0", "", "percent"),
            ("E", "5", "Article 135", "percent"),
            ("S", "101", "", "percent"),
            ("E", "0", "", "reason"),
            ("AE", "0", "", "reason"),
            ("O", "0", "", "reason"),
            ("K", "0", "", "reason"),
            ("S", "23", "because", "reason"),
            ("X", "23", "", "category"),
            ("L", "7", "", "category"),
        ],
    )
    def test_category_percentage_and_reason_go_together(self, owner, category, percent, reason, field):
        with pytest.raises(BadInput) as caught:
            actions.add_tax_rate(
                code="T", name="T", percent=D(percent), category=category, reason=reason,
                valid_from=made.START, by=owner,
            )  # fmt: skip
        assert field in caught.value.fields
        assert not TaxRate.objects.exists()

    def test_days_of_a_code_do_not_overlap(self, owner):
        actions.add_tax_rate(
            code="A", name="A", percent=D(5), valid_from=date(2026, 1, 1), valid_to=date(2026, 6, 30), by=owner
        )
        for start, end in (("2025-01-01", None), ("2026-06-30", None), ("2025-01-01", "2026-01-01")):
            with pytest.raises(BadInput, match="already has a rate"):
                actions.add_tax_rate(
                    code="A", name="A", percent=D(6), valid_from=date.fromisoformat(start),
                    valid_to=end and date.fromisoformat(end), by=owner,
                )  # fmt: skip
        actions.add_tax_rate(code="A", name="A", percent=D(6), valid_from=date(2026, 7, 1), by=owner)

    def test_there_is_one_default(self, owner):
        rates = made.tax_rates(owner)
        actions.make_default_tax(rates["S13"].pk, rates["S13"].version, by=owner)
        assert queries.tax_rate().code == "S13"
        assert TaxRate.objects.filter(is_default=True).count() == 1
        with pytest.raises(Refused, match="default"):
            actions.end_tax_rate(rates["S13"].pk, None, valid_to=date(2027, 1, 1), by=owner)
        ended = actions.end_tax_rate(rates["S23"].pk, None, valid_to=date(2026, 1, 1), by=owner)
        with pytest.raises(Refused):
            actions.make_default_tax(ended.pk, None, by=owner)
        with pytest.raises(Refused):
            queries.tax_rate("S23", date(2026, 1, 2))


@pytest.mark.django_db
class TestLabour:
    def test_the_closest_rate_wins_then_the_latest(self, owner):
        def add(amount, start, kind="", labour_class=""):
            actions.add_labour_rate(
                per_hour=D(amount), valid_from=date.fromisoformat(start), stage_kind=kind, labour_class=labour_class,
                by=owner,
            )  # fmt: skip

        add("60", "2024-01-01")
        add("66", "2026-01-01")
        add("80", "2024-01-01", labour_class="master")
        add("90", "2024-01-01", kind="measure")
        add("99", "2025-01-01", kind="measure", labour_class="master")
        rate = queries.labour_rates()
        day = date(2026, 3, 1)
        assert rate.on(day, "strip") == D("66")
        assert rate.on(date(2025, 12, 31), "strip") == D("60")
        assert rate.on(day, "strip", "master") == D("80")
        assert rate.on(day, "measure") == D("90")
        assert rate.on(day, "measure", "master") == D("99")
        assert rate.on(date(2024, 6, 1), "measure", "master") == D("90")
        with pytest.raises(Refused, match="labour rate") as caught:
            rate.on(date(2023, 12, 31), "strip")
        assert caught.value.code == "no-labour-rate"

    def test_a_rate_in_force_is_not_taken_away(self, owner):
        rate = made.labour_rates(owner)[0]
        with pytest.raises(Refused):
            actions.remove_labour_rate(rate.pk, rate.version, by=owner)
        later = actions.add_labour_rate(per_hour=D("70"), valid_from=date(2199, 1, 1), by=owner)
        actions.remove_labour_rate(later.pk, later.version, by=owner)

    @pytest.mark.parametrize(("amount", "kind", "field"), [("-1", "", "per_hour"), ("1", "paint", "stage_kind")])
    def test_bad_ones_are_refused(self, owner, amount, kind, field):
        with pytest.raises(BadInput) as caught:
            actions.add_labour_rate(per_hour=D(amount), valid_from=made.START, stage_kind=kind, by=owner)
        assert field in caught.value.fields


@pytest.mark.django_db
class TestProfileAndTime:
    def test_there_is_always_a_profile_and_a_site(self, owner):
        assert (queries.profile().currency, queries.profile().version) == ("EUR", 0)
        site = queries.default_site()
        assert queries.default_site() == site
        second = actions.open_site(code="QUAY", name="Quay", by=owner)
        assert queries.default_site() == site
        actions.archive_site(site.pk, 1, by=owner)
        assert queries.default_site() == second
        with pytest.raises(Refused, match="last site"):
            actions.archive_site(second.pk, 1, by=owner)
        assert Site.objects.count() == 2

    def test_the_profile_is_checked(self, owner):
        actions.edit_profile(
            0, name="Saltmarsh Engine Works", iban="IE29 AIBK 9311 5212 3456 78", country="ie", by=owner
        )
        saved = queries.profile()
        assert (saved.iban, saved.country, saved.version) == ("IE29AIBK93115212345678", "IE", 1)
        for values in (
            {"iban": "IE29 AIBK 9311 5212 3456 79"}, {"vat_no": "IE1234567X"}, {"country": "QQ"}, {"currency": "GBP"},
            {"currency": "ZZZ"},
        ):  # fmt: skip
            with pytest.raises(BadInput) as caught:
                actions.edit_profile(1, by=owner, **values)
            assert set(caught.value.fields) == set(values)
        assert queries.profile().version == 1
        with pytest.raises(Stale):
            actions.edit_profile(0, name="Other", by=owner)

    def test_the_calendar(self, owner):
        assert queries.calendar().on(date(2026, 11, 25)).minutes == 510
        assert queries.calendar().on(date(2026, 11, 28)) is None
        actions.set_hours(weekday=3, starts=time(7), ends=time(15, 30), by=owner)
        actions.close_day(day=date(2026, 11, 25), reason="Boat lift", by=owner)
        calendar = queries.calendar()
        assert calendar.on(date(2026, 11, 25)) is None
        assert calendar.on(date(2026, 12, 2)).minutes == 510
        assert calendar.next_open(date(2026, 11, 25)) == date(2026, 11, 26), "the other days stay as usual"
        with pytest.raises(BadInput):
            actions.close_day(day=date(2026, 11, 25), reason="again", by=owner)
        *others, last = queries.working_hours()
        for hours in others:
            actions.close_weekday(hours.pk, by=owner)
        with pytest.raises(Refused):
            actions.close_weekday(last.pk, by=owner)

    @pytest.mark.parametrize(
        ("times", "field"),
        [
            ((time(9), time(9), None, None), "ends"),
            ((time(9), time(17), time(12), None), "break_ends"),
            ((time(9), time(17), time(8), time(9)), "break_starts"),
            ((time(9), time(17), time(13), time(12)), "break_starts"),
        ],
    )
    def test_hours_in_order(self, owner, times, field):
        starts, ends, pause, back = times
        with pytest.raises(BadInput) as caught:
            actions.set_hours(weekday=1, starts=starts, ends=ends, break_starts=pause, break_ends=back, by=owner)
        assert field in caught.value.fields


def test_the_margin_scheme_is_refused_in_words():
    with pytest.raises(BadInput, match="margin scheme for used goods"):
        check_tax("M", Decimal(0), "")
