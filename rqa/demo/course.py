"""How far the making of a demo is, told as it goes on."""

from rqa.progress import Progress, Stage

DRAWING = 0.15
"""The share of the time that drawing takes, beside writing; measured. The sites share the rest about alike."""


class Course:
    """Tells the stages of a demo of `jobs` jobs, which is drawn and written chunk by chunk."""

    def __init__(self, progress: Progress, jobs: int) -> None:
        self.progress, self.jobs = progress, jobs
        self.before = self.size = self.rows = 0

    def drawing(self, size: int) -> None:
        """The next chunk, of `size` jobs, is drawn."""
        self.before, self.size = self.before + self.size, size
        self._tell("drawing", 0.0)

    def writing(self, site: str, place: int, sites: int) -> None:
        """The chunk's logs of one site, the `place`th of `sites`, are written."""
        self._tell(f"writing {site}'s logs of", DRAWING + (1 - DRAWING) * place / sites)

    def written(self, rows: int) -> None:
        """So many rows more are written."""
        self.rows += rows

    def _tell(self, doing: str, share: float) -> None:
        what = f"{doing} jobs {self.before + 1:,} to {self.before + self.size:,}"
        self.progress(Stage(what, self.before + share * self.size, self.jobs, count=self.rows))
