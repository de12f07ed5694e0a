"""Keep the present engine before its version is raised.

    python -m compliance.engines.keep

Copies `compliance.judging` and every module of `calculations` that it reaches into a package named
after `ENGINE_VERSION`, with imports that lead to the copies. What is kept is never changed: a test
holds it to the answers it gave. It still stands on the numeric libraries of the day.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from calculations import ENGINE_VERSION
from compliance.engines import FOLDER, package_name

PROJECT = Path(__file__).resolve().parents[2]
BEGINS_AT = "compliance.judging"
OURS = ("calculations", "compliance")


class CannotKeep(Exception):
    """The engine reaches for what can't be copied, or is kept already."""


def keep_engine(into: Path = FOLDER, version: str = ENGINE_VERSION) -> Path:
    """The folder of the kept engine.

    Raises:
        CannotKeep: it is kept already, or an import is not of the form `from module import name`.
    """
    folder = into / package_name(version)
    if folder.exists():
        raise CannotKeep(f"Engine {version} is kept already, in {folder}.")
    modules = engine_modules()
    for module in modules:
        target = folder / _place_in_copy(module)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(_led_to_copies(module))
        for parent in target.parents:
            if parent == into:
                break
            (parent / "__init__.py").touch()
    package = folder / "calculations" / "__init__.py"
    package.write_text((PROJECT / "calculations" / "__init__.py").read_text())
    return folder


def engine_modules() -> list[str]:
    """All that a verdict is reached with, by name."""
    found: set[str] = set()
    todo = [BEGINS_AT]
    while todo:
        module = todo.pop()
        if module not in found:
            found.add(module)
            todo += [node.module or "" for node in _own_imports(module) if not _is_package(node)]
    return sorted(found)


def _own_imports(module: str) -> Iterator[ast.ImportFrom]:
    for node in ast.walk(ast.parse(_file_of(module).read_text())):
        if isinstance(node, ast.Import) and any(_is_ours(name.name) for name in node.names):
            raise CannotKeep(f"{module}, line {node.lineno}: write it as from … import ….")
        if isinstance(node, ast.ImportFrom) and _is_ours(node.module or ""):
            yield node


def _is_package(node: ast.ImportFrom) -> bool:
    """`from calculations import ENGINE_VERSION`, the one thing that is taken from a package."""
    if node.module == "calculations" and [one.name for one in node.names] == ["ENGINE_VERSION"]:
        return True
    if not _file_of(node.module or "").is_file():
        raise CannotKeep(f"{node.module} is a package: import from the module that has it.")
    return False


def _is_ours(name: str) -> bool:
    return name.split(".")[0] in OURS


def _file_of(module: str) -> Path:
    return PROJECT / f"{module.replace('.', '/')}.py"


def _place_in_copy(module: str) -> Path:
    """calculations/loft.py, and compliance.judging at the top."""
    return Path(f"{module.removeprefix('compliance.').replace('.', '/')}.py")


def _led_to_copies(module: str) -> str:
    """Its text with relative imports, so that nothing outside the copy is reached."""
    lines = _file_of(module).read_text().splitlines(keepends=True)
    depth = len(_place_in_copy(module).parts)
    for node in _own_imports(module):
        name = (node.module or "").removeprefix("compliance.")
        old, new = f"from {node.module} import", f"from {'.' * depth}{name} import"
        lines[node.lineno - 1] = lines[node.lineno - 1].replace(old, new)
    return "".join(lines)


if __name__ == "__main__":
    print(f"Kept in {keep_engine().relative_to(PROJECT)}. Now raise ENGINE_VERSION.")
