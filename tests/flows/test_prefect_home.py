"""Where Prefect keeps its own files: a folder that cannot be made is named, and not the site."""

from __future__ import annotations

import pytest

from pipelines.errors import SiteError
from pipelines.flows.run import prepare
from tests.conftest import Place


def test_a_folder_for_prefect_that_cannot_be_made_is_named(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PREFECT_HOME", "/proc/x")
    with pytest.raises(SiteError) as exception_info:
        prepare(place.opened)
    assert str(exception_info.value).startswith("PREFECT_HOME, /proc/x, cannot be written to (")
    assert str(place.site.root) not in str(exception_info.value)
