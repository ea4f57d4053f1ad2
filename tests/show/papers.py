"""Any file name and any terminal, for tests of showing a watch."""

from __future__ import annotations

from hypothesis import strategies as st

from qc.show.watching.layout import Paper

NAMES = st.text(st.characters(exclude_characters="/\0"), min_size=1, max_size=255)
"""What may be a file name, lone surrogates included."""

PAPERS = st.builds(
    Paper,
    width=st.integers(40, 200),
    height=st.integers(8, 60),
    encoding=st.sampled_from(["utf-8", "ascii", "latin-1"]),
    keys=st.booleans(),
)
