"""The engines that verdicts were reached with, each under its version.

An assessment names the version that judged it, and is judged again by that very one, years later
too. The present engine is `compliance.judging` with what it needs of `calculations`. Before
`ENGINE_VERSION` is raised, `python -m compliance.engines.keep` copies it into a package of its own
beside this file, such as `v1_0_0`, which is found by its name and never changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

from calculations import ENGINE_VERSION
from compliance import judging

Engine = Callable[[Mapping[str, Any]], dict[str, Any]]
"""From the stored inputs of an assessment to its arithmetic, as `Judgement.to_dict` gives it."""

FOLDER = Path(__file__).parent
KEPT = re.compile(r"v(\d+)_(\d+)_(\d+)")


def engine_of(version: str) -> Engine | None:
    """The engine of a version; None where it was not kept."""
    return _engines().get(version)


def known_versions() -> tuple[str, ...]:
    """Of kept engines and the present one, the oldest first."""
    return tuple(sorted(_engines(), key=lambda v: [int(part) for part in v.split(".")]))


def package_name(version: str) -> str:
    """Where the engine of a version is kept: v1_0_0 for 1.0.0."""
    return "v" + version.replace(".", "_")


def judging_by(module: ModuleType) -> Engine:
    """The engine whose `Evidence` and `judge_evidence` these are."""

    def judge(inputs: Mapping[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = module.judge_evidence(module.Evidence.from_dict(inputs)).to_dict()
        return found

    return judge


@contextmanager
def engine_at_hand(version: str, engine: Engine) -> Any:
    """Another engine for the time of a block, such as one that a test makes up."""
    _engines()[version] = engine
    try:
        yield
    finally:
        _engines.cache_clear()


@lru_cache(maxsize=1)
def _engines() -> dict[str, Engine]:
    found = {
        ".".join(named.groups()): _kept(path.name)
        for path in FOLDER.iterdir()
        if path.is_dir() and (named := KEPT.fullmatch(path.name))
    }
    return {**found, ENGINE_VERSION: judging_by(judging)}


def _kept(package: str) -> Engine:
    """Imported when it is first asked for: most runs need the present engine alone."""

    def judge(inputs: Mapping[str, Any]) -> dict[str, Any]:
        return judging_by(import_module(f"{__name__}.{package}.judging"))(inputs)

    return judge
