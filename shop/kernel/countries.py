"""Countries by ISO 3166-1 alpha-2 code, with names from Unicode CLDR."""

from __future__ import annotations

import functools
from typing import Final

from babel import Locale

from shop.kernel.errors import field_error

# In CLDR's list of territories, but not officially assigned in ISO 3166-1
_NOT_ISO: Final = frozenset({"AC", "CP", "CQ", "DG", "EA", "EU", "EZ", "IC", "QO", "TA", "UN", "XA", "XB", "XK", "ZZ"})


@functools.cache
def countries(language: str = "en") -> dict[str, str]:
    """{code: name in `language`}, sorted by name."""
    named = Locale.parse(language.replace("-", "_")).territories
    found = {c: n for c, n in named.items() if len(c) == 2 and c.isalpha() and c not in _NOT_ISO}
    return dict(sorted(found.items(), key=lambda item: item[1].casefold()))


def check_country(code: str, *, field: str = "country") -> str:
    """The code in capitals; "" stays "". Raises BadInput for anything that is no country's code."""
    code = code.strip().upper()
    if code and code not in countries():
        raise field_error(
            field, f"“{code[:10]}” is no country code. Use the two letters of ISO 3166-1, such as IE or DE."
        )
    return code


def country_name(code: str, language: str = "en") -> str:
    """Its name, or the code itself where there is none."""
    return countries(language).get(code, code)
