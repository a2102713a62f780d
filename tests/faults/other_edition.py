"""Loaded by a Dask worker to stand for one whose numbers are of another edition."""

from loopmargin_service.questions import edition

edition.EDITION = "of another year"
