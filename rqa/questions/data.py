"""`depot.data`: what was loaded, refused and remarked on, and what is missing from the logs."""

from rqa.answers.data.intake_report import held_by_site as _held_by_site
from rqa.answers.data.intake_report import loaded as _loaded
from rqa.answers.data.intake_report import loose_ends as _loose_ends
from rqa.answers.data.intake_report import overlaps as _overlaps
from rqa.answers.data.intake_report import refused as _refused
from rqa.answers.data.intake_report import remarks as _remarks
from rqa.answers.data.intake_report import superseded as _superseded
from rqa.answers.data.intake_report import views as _views
from rqa.answers.data.to_mend import to_mend as _to_mend
from rqa.asking import Area, question


class Data(Area):
    """What was loaded, refused and remarked on, and what is missing from the logs."""

    loaded = question(_loaded)
    refused = question(_refused)
    superseded = question(_superseded)
    held_by_site = question(_held_by_site)
    remarks = question(_remarks)
    loose_ends = question(_loose_ends)
    overlaps = question(_overlaps)
    to_mend = question(_to_mend)
    views = question(_views)
