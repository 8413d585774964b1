"""Versions are read from one line, and are what the standard library tells."""

from importlib.metadata import PackageNotFoundError, distributions, version

import pytest

from compositor.base.installed import installed_version
from compositor.jobs.versions import versions


def test_every_version_is_what_the_standard_library_reads() -> None:
    names = {found.name for found in distributions()}
    assert {name: installed_version(name) for name in names} == {name: version(name) for name in names}
    assert names >= {"numpy", "pillow"}


def test_what_is_not_installed_is_told_as_the_standard_library_tells_it() -> None:
    with pytest.raises(PackageNotFoundError):
        installed_version("no-such-distribution")


def test_reports_name_the_libraries_that_shape_pixels() -> None:
    told = versions()
    assert told["numpy"] == version("numpy") and told["pillow"] == version("pillow")
