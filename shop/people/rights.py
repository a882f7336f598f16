"""The one table of rights stands in `shop.kernel.rights`, below the page and API kits; this is its usual address."""

from shop.kernel.rights import EVERYONE, MECHANIC, OFFICE, OWNER, PIN_RIGHTS, RIGHTS, STORES, Role, require, rights_of

__all__ = ["EVERYONE", "MECHANIC", "OFFICE", "OWNER", "PIN_RIGHTS", "RIGHTS", "STORES", "Role", "require", "rights_of"]
