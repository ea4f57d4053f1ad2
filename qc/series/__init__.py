"""Findings about several captures: pure folds over results in the order taken, one fold a file.

`run` has the way in (`fold`, `Day`), `body` the step of one capture through all folds: `settings`, `misfire`,
`light`, then `alarms`. `make`, `order` and `tiles` turn a result into the small `Entry` they read, `standing`
turns what they say into a `Standing`, `pairs` finds the lit frame of an ambient test. The codes are in `findings`.
"""
