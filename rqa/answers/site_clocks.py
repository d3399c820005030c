"""The sites' own clocks: which time zone each site keeps, as the workspace's mapping says."""

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
    """The zones that the mapping beside the store declares; none, and a note, where there is no mapping.

    The store keeps times in UTC and days in the site's own calendar, but not the zones themselves.
    """
    from rqa.errors import MappingError
    from rqa.intake.mapping import Mapping, read_mapping

    try:
        # The rest of the mapping says how to read files, and may be in somebody's hands just now.
        mapping = Mapping.model_validate({"sites": read_mapping(store.path.parent).get("sites", {})})
    except MappingError:
        return SiteClocks({}, "There is no readable sources.toml beside the store, so shifts are told by UTC.")
    except ValueError:
        return SiteClocks({}, "The sites of sources.toml cannot be read, so shifts are told by UTC.")
    zones = {name: site.zone for name, site in mapping.sites.items()}
    if not zones:
        return SiteClocks({}, "sources.toml names no site with a zone, so shifts are told by UTC.")
    return SiteClocks(zones, "")
