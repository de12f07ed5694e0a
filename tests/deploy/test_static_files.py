"""Scripts find one another under the names that the manifest gives them."""

from __future__ import annotations

import re
import shutil
import stat
from pathlib import Path

import pytest
from django.contrib.staticfiles.finders import get_finders
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage
from django.test import override_settings

from deploy.static_files import StaticFiles

STATIC = Path(__file__).resolve().parents[2] / "deploy" / "static"
IMPORTED = re.compile(r"""(?:\bfrom|\bimport\(?)\s*["'](\.{1,2}/[^"']+)["']""")
HASHED = re.compile(r"\.[0-9a-f]{12}\.js$")


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Our static files as collectstatic leaves them."""
    root = tmp_path_factory.mktemp("static")
    shutil.copytree(STATIC, root, dirs_exist_ok=True)
    with override_settings(STATIC_ROOT=str(root), DEBUG=False):
        storage = StaticFiles(location=str(root))
        source = FileSystemStorage(location=str(STATIC))
        names = [str(path.relative_to(root)) for path in root.rglob("*") if path.is_file()]
        for name, _, done in storage.post_process({name: (source, name) for name in names}):
            assert not isinstance(done, Exception), (name, done)
    return root


def test_every_module_imports_files_named_by_their_content(collected: Path) -> None:
    imports = [
        (script, found)
        for script in sorted(collected.rglob("*.js"))
        if HASHED.search(script.name) and "vendor" not in script.parts
        for found in IMPORTED.findall(script.read_text())
    ]
    assert len(imports) > 40
    for script, found in imports:
        assert HASHED.search(found), f"{script.name} imports {found}"
        assert (script.parent / found).is_file(), f"{script.name} imports {found}"


def test_no_library_is_taken_for_a_script_of_ours() -> None:
    """What libraries bring is only copied: their imports name files that only they had."""
    theirs = [
        path
        for finder in get_finders()
        for path, storage in finder.list([])
        if Path(getattr(storage, "location", "")).resolve() != STATIC
    ]
    folders = [glob for glob, _ in StaticFiles.patterns if glob not in ("*.css", "*.js")]
    assert theirs
    assert not [path for path in theirs if any(Path(path).match(glob) for glob in folders)]


def test_what_is_collected_is_open_to_whoever_serves_it(tmp_path: Path) -> None:
    """An image is built by root and run by somebody else; photos stay closed to others."""
    storage = StaticFiles(location=str(tmp_path))
    name = storage.save("folder/style.css", ContentFile(b"p { color: #000 }"))
    storage.save_manifest()
    kept = FileSystemStorage(location=str(tmp_path / "photos"))
    kept.save("one.jpg", ContentFile(b"photo"))

    for path in (name, "folder", storage.manifest_name):
        mode = (tmp_path / path).stat().st_mode
        assert mode & stat.S_IROTH, path
    assert not (tmp_path / "photos" / "one.jpg").stat().st_mode & stat.S_IROTH
