import pytest

from shop.kernel.countries import check_country, countries, country_name
from shop.kernel.errors import BadInput
from shop.kernel.folding import digits, fold, key


def test_fold_drops_case_accents_and_surplus_space():
    assert fold("  MÜLLER   & Söhne ") == "muller & sohne"
    assert fold("Großmann") == fold("GROSSMANN")
    assert fold("ＡＢＣ") == "abc"
    assert fold("ورشة الميناء") == "ورشة الميناء"


def test_key_and_digits_see_one_number_behind_its_spellings():
    assert key("B2-40417") == key("b2 40417") == key("B2/404.17") == "b240417"
    assert digits("+353 (0)21 555-0142") == "3530215550142"


def test_there_are_the_249_countries_of_iso_3166_1():
    # 249 officially assigned alpha-2 codes (ISO 3166 Maintenance Agency; from memory)
    assert len(countries()) == 249
    assert country_name("DE") == "Germany"
    assert country_name("DE", "de") == "Deutschland"
    assert country_name("ZZ") == "ZZ"


@pytest.mark.parametrize("code", ["XX", "EU", "DEU", "D", "1A", "🇩🇪"])
def test_no_country(code):
    with pytest.raises(BadInput) as refused:
        check_country(code)
    assert refused.value.fields["country"]


def test_country_codes_are_taken_in_any_case():
    assert check_country(" ie ") == "IE"
    assert check_country("") == ""
