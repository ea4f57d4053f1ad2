"""What the day says when it is over: findings about all its captures together, one question a file.

Pure functions over a `qc.day.Day` and the set sheets that its log kept. `day` asks every question (`wrap`),
`sheets` reads the sheets and tells which set a capture belongs to, `counting` counts captures per set, and
`grouping` gathers what the standings say (`causes`). The codes are in `findings`. What the questions share:
`counter` finds the number in a name, `bodies` the camera, `sequence` the captures by number, `times` compares
recorded times.
"""

from qc.series.wrap.counting import Count as Count
from qc.series.wrap.counting import counts as counts
from qc.series.wrap.day import wrap as wrap
from qc.series.wrap.findings import FINDINGS as FINDINGS
from qc.series.wrap.grouping import CauseGroup as CauseGroup
from qc.series.wrap.grouping import causes as causes
from qc.series.wrap.sheets import sheets_of as sheets_of
