"""The sites' own clocks: which time zone each site keeps, as the mapping said when the store was loaded."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rqa.store.engine import Store


@dataclass(frozen=True)
class SiteClocks:
    """The zone of each site, by name, and what a careful reader must know of them."""

    zones: dict[str, str]
    note: str


def site_clocks(store: "Store") -> SiteClocks:
    """The zones that the mapping declared; none, and a note, where it named no site."""
    zones = dict(store.counts("clocks", "select site, zone from clocks order by site").rows())
    note = "" if zones else "sources.toml named no site with a zone, so shifts are told by UTC."
    return SiteClocks(zones, note)
