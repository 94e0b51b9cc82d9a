"""A package as one ZIP: the same bytes each time, and what is hostile is not unpacked."""

import subprocess
import zipfile
from pathlib import Path

import pytest
from tests.dossier.handover_example import small_example, write_example

from spinproof.app.handing_over import verify
from spinproof.dossier.zipped import unzipped, zip_package
from spinproof.model.errors import PackageError


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_example(small_example(), tmp_path_factory.mktemp("small"))[0]


@pytest.fixture
def zipped(package: Path, tmp_path: Path) -> Path:
    zip_package(package, tmp_path / "package.zip")
    return tmp_path / "package.zip"


def test_a_zipped_package_verifies_as_the_folder_does(package: Path, zipped: Path):
    whole, packed = verify(package, None), verify(zipped, None)

    assert packed.ok
    assert packed.checked == whole.checked


def test_the_same_package_gives_the_same_bytes(package: Path, zipped: Path, tmp_path: Path):
    zip_package(package, tmp_path / "again.zip")

    assert (tmp_path / "again.zip").read_bytes() == zipped.read_bytes()


def test_a_general_tool_unpacks_it_into_one_folder(package: Path, zipped: Path, tmp_path: Path):
    subprocess.run(["python3", "-m", "zipfile", "-e", zipped, tmp_path / "out"], check=True)

    (folder,) = (tmp_path / "out").iterdir()
    assert folder.name == package.name
    assert verify(folder, None).ok


def test_nothing_is_overwritten(package: Path, zipped: Path):
    with pytest.raises(PackageError, match="stands there already"):
        zip_package(package, zipped)


def test_one_changed_byte_is_found_inside_the_zip(package: Path, zipped: Path, tmp_path: Path):
    spoilt = tmp_path / "spoilt.zip"
    with zipfile.ZipFile(zipped) as source, zipfile.ZipFile(spoilt, "w") as target:
        for entry in source.infolist():
            data = bytearray(source.read(entry))
            if entry.filename.endswith("plan.json"):
                data[9] ^= 1
            target.writestr(entry, bytes(data))
    result = verify(spoilt, None)

    assert [(f.kind.value, f.file) for f in result.findings] == [("changed", "records/plan.json")]


def hostile(path: Path, *entries: tuple[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return path


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        pytest.param([("../out.txt", b"x")], "points out of its folder", id="step upwards"),
        pytest.param([("/etc/x", b"x")], "names an absolute place", id="absolute"),
        pytest.param([("p/a", b"0" * 50_000_000)], "zip bomb", id="bomb"),
        pytest.param([("p/a", b"x"), ("q/a", b"x")], "holds 2 things at its top", id="two folders"),
        pytest.param([("a.txt", b"x")], "one folder belongs there", id="a file"),
        pytest.param([], "one folder belongs there", id="nothing"),
    ],
)
def test_what_is_hostile_or_no_package_is_refused(tmp_path: Path, entries, said: str):
    with pytest.raises(PackageError, match=said):
        verify(hostile(tmp_path / "hostile.zip", *entries), None)
    assert [path.name for path in tmp_path.iterdir()] == ["hostile.zip"]


@pytest.mark.parametrize("cut", [0, 1, 30, 2])
def test_a_torn_or_false_zip_is_refused(zipped: Path, tmp_path: Path, cut: int):
    torn = tmp_path / "torn.zip"
    data = zipped.read_bytes()
    torn.write_bytes(data[: len(data) * cut // 100])

    with pytest.raises(PackageError):
        verify(torn, None)


def test_a_damaged_entry_is_told_as_damage(zipped: Path):
    data = bytearray(zipped.read_bytes())
    data[len(data) // 2] ^= 1
    zipped.write_bytes(bytes(data))

    with pytest.raises(PackageError, match="damaged"), unzipped(zipped):
        pass
