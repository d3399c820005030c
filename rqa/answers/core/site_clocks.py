"""The sites' own clocks: which time zone each site keeps, as the mapping said when the store was loaded."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.measures.run import counts
from rqa.words import listed

if TYPE_CHECKING:
    from rqa.store.engine import Store

UTC = "UTC"


@dataclass(frozen=True)
class SiteClocks:
    """The zone of each site that has jobs, by name; `untold` are the sites of which the mapping told none."""

    zones: dict[str, str]
    untold: tuple[str, ...] = ()

    def of(self, site: str | None) -> str:
        """The zone of a site; UTC where the mapping told none."""
        return self.zones.get(site or "", UTC)

    @property
    def note(self) -> str:
        """Which clock is meant, site by site."""
        kept: dict[str, list[str]] = {}
        for site, zone in self.zones.items():
            if site not in self.untold:
                kept.setdefault(zone, []).append(site)
        said = [f"{zone} ({', '.join(sites)})" for zone, sites in sorted(kept.items())]
        notes = [f"The sites' clocks are those of {listed(said)}."] if said else []
        if self.untold:
            notes.append(
                f"The zone of {listed(self.untold)} is missing in sources.toml, so times there are told by UTC; add "
                f'zone under [workspace] or [sites."{self.untold[0]}"].'
            )
        return " ".join(notes)


def site_clocks(store: "Store") -> SiteClocks:
    """The zones that the mapping told for the sites of the jobs: their own, else that of all others."""
    zones = dict(counts(store, "clocks").rows())
    untold = tuple(site for site, zone in zones.items() if zone is None)
    return SiteClocks({site: zone or UTC for site, zone in zones.items()}, untold)
