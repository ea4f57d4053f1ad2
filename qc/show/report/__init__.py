"""The day's report: one page that people read, in a folder that can be zipped and needs no network.

`headings` decides what comes first, `drawings` makes pictures from digests, `frames` gathers what is
known of one frame, `quantities` and `plots` the day over time, `page` makes the page itself from `templates/`,
`writing` puts all of it on the disk. `again` makes a report from a log alone.
"""

from qc.show.report.again import Made as Made
from qc.show.report.again import report_again as report_again
from qc.show.report.writing import write_report as write_report
