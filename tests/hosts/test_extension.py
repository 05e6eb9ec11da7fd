"""The Calc extension: what is in it, how it is installed, and that one bad file does not take the rest down."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest

import workbook_tools
from tests.hosts.profile import Profile
from tests.support.office import Office
from workbook_tools.errors import HostError
from workbook_tools.functions.catalogue import entries
from workbook_tools.hosts import extension, office_setup
from workbook_tools.hosts.extension_parts import IDENTIFIER

ROOT = Path(workbook_tools.__file__).parents[1]
NODE = "{http://openoffice.org/2001/registry}name"
INSIDE_LIBREOFFICE = {"uno", "unohelper", "com"}


def changed(path: Path, out: Path, changes: dict[str, tuple[str, str]]) -> Path:
    """A copy of the extension with a text replaced in some of its files."""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            content = old.read(info).decode("utf-8")
            if info.filename in changes:
                before, after = changes[info.filename]
                assert before in content
                content = content.replace(before, after)
            new.writestr(info, content)
    return out


def test_same_input_same_bytes(extension_file: Path, tmp_path: Path) -> None:
    assert extension.build(tmp_path / "again.oxt").read_bytes() == extension_file.read_bytes()


def test_name_must_end_in_oxt(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="ends in"):
        extension.build(tmp_path / "extension.zip")


def test_the_formulas_inside_are_the_files_of_the_package() -> None:
    inside = {name: content for name, content in extension.extension_files().items() if name.startswith("pythonpath/")}
    for name, content in inside.items():
        assert content == (ROOT / name.removeprefix("pythonpath/")).read_bytes()
    for topic in {entry.topic for entry in entries()}:
        assert {f"pythonpath/workbook_tools/functions/formulas/{topic}{end}" for end in (".py", "/__init__.py")} & set(
            inside
        )


def imported(tree: ast.AST) -> list[str]:
    """Modules that are imported as soon as a file is; what a function imports only counts when it runs."""
    found = []
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found.append(str(node.module))
        elif not isinstance(node, ast.FunctionDef):
            found += imported(node)
    return found


def test_nothing_outside_the_standard_library_is_imported() -> None:
    contents = extension.extension_files()
    for name, content in contents.items():
        for module in imported(ast.parse(content)) if name.endswith(".py") else ():
            head = module.partition(".")[0]
            assert head in sys.stdlib_module_names | INSIDE_LIBREOFFICE | {"workbook_tools"}, (name, module)
            if head == "workbook_tools":
                place = f"pythonpath/{module.replace('.', '/')}"
                assert {f"{place}.py", f"{place}/__init__.py"} & set(contents), (name, module)


def test_every_function_is_described() -> None:
    contents = extension.extension_files()
    tree = ElementTree.fromstring(contents["CalcAddIns.xcu"])
    found = {}
    for topic in tree.findall("node/node"):
        for function in topic.findall("node/node"):
            words = {prop.get(NODE): prop[0].text for prop in function.findall("prop")}
            arguments = [
                {p.get(NODE): p[0].text for p in node.findall("prop")} for node in function.findall("node/node")
            ]
            found[f"{topic.get(NODE)}.{function.get(NODE)}"] = (words, arguments)
    assert list(found) == [entry.name for entry in entries()]
    for entry in entries():
        words, arguments = found[entry.name]
        assert words["DisplayName"] == words["CompatibilityName"] == entry.name
        assert str(words["Description"]).startswith(entry.words.summary)
        assert [argument["DisplayName"] for argument in arguments] == [p.label for p in entry.parameters]
        for argument, parameter in zip(arguments, entry.parameters, strict=True):
            assert parameter.kind.allowed in str(argument["Description"])
            assert ("when left out" in str(argument["Description"])) is parameter.optional


def test_version_and_licence() -> None:
    contents = extension.extension_files()
    assert f'<version value="{workbook_tools.__version__}"/>' in contents["description.xml"].decode()
    assert contents["LICENSE"] == (ROOT / "LICENSE").read_bytes()
    assert b"MIT License" in contents["LICENSE"]


def test_every_part_of_the_manifest_is_there() -> None:
    contents = extension.extension_files()
    listed = re.findall(r'full-path="([^"]+)"', contents["META-INF/manifest.xml"].decode())
    components = re.findall(r'uri="([^"]+)"', contents["functions.components"].decode())
    assert len(listed) == 5
    assert set(listed + components) <= set(contents)
    for name in listed:
        if not name.endswith(".idl"):
            ElementTree.fromstring(contents[name])


def test_install_upgrade_remove(extension_file: Path, profile: Profile, tmp_path: Path) -> None:
    """From a profile that LibreOffice has never used."""
    place = {"user_installation": profile.folder, "shared": profile.shared}
    assert extension.extension_installed(profile.folder, profile.shared) is None
    extension.install(extension_file, **place)
    assert extension.extension_installed(profile.folder, profile.shared) == workbook_tools.__version__
    assert computed(profile) == 3.2
    newer = changed(
        extension_file,
        tmp_path / "newer.oxt",
        {
            "description.xml": (f'version value="{workbook_tools.__version__}"', 'version value="99.1"'),
            "pythonpath/workbook_tools/functions/formulas/bath/weights.py": (
                "return volume * dose / 1000 / active",
                "return volume * dose / 1000 / active + 100",
            ),
        },
    )
    extension.install(newer, **place)
    assert extension.extension_installed(profile.folder, profile.shared) == "99.1"
    assert computed(profile) == 103.2
    extension.install(extension_file, **place)  # an older one may take its place again
    assert extension.extension_installed(profile.folder, profile.shared) == workbook_tools.__version__
    extension.remove(profile.folder, profile.shared)
    assert extension.extension_installed(profile.folder, profile.shared) is None
    assert str(computed(profile)) == "#NAME?"
    with pytest.raises(HostError, match="not installed"):
        extension.remove(profile.folder, profile.shared)


def computed(profile: Profile) -> object:
    with Office(profile=profile.folder, environment=profile.environment) as office:
        return office.evaluate(["BATH.MASS(40,80)"])[0]


def test_a_topic_that_cannot_be_read_leaves_the_others_working(
    extension_file: Path, profile: Profile, tmp_path: Path
) -> None:
    place = "pythonpath/workbook_tools/functions/formulas/vessel.py"
    broken = changed(extension_file, tmp_path / "broken.oxt", {place: ("def round(", "def round((")})
    extension.install(broken, profile.folder, shared=profile.shared)
    with Office(profile=profile.folder, environment=profile.environment) as office:
        answers = office.evaluate(["VESSEL.ROUND(2,1)", "VESSEL.NET(400,25)", "BATH.MASS(40,80)", "STAGE.RATE(14,15)"])
        assert [str(answer) for answer in answers] == ["Err:504", "Err:504", "3.2", "56.0"]
    log = (profile.folder / "user" / "workbook-tools.log").read_text(encoding="utf-8")
    assert "The functions of VESSEL cannot be used" in log
    assert "vessel.py" in log
    assert "SyntaxError" in log
    assert log.count("cannot be used") == 1  # once, not once for each cell
    assert "BATH" not in log


def test_our_own_files_run_whatever_else_python_holds(extension_file: Path, profile: Profile, tmp_path: Path) -> None:
    """Another package of the same name on Python's path does not get in the way."""
    other = tmp_path / "other" / "workbook_tools"
    other.mkdir(parents=True)
    (other / "__init__.py").write_text("raise ImportError('the wrong one')\n", encoding="utf-8")
    extension.install(extension_file, profile.folder, shared=profile.shared)
    environment = {**profile.environment, "PYTHONPATH": str(other.parent)}
    with Office(profile=profile.folder, environment=environment) as office:
        assert office.evaluate(["BATH.MASS(40,80)"]) == [3.2]


def test_running_libreoffice_is_noticed(extension_file: Path, tmp_path: Path) -> None:
    (tmp_path / ".lock").write_text("", encoding="utf-8")
    with pytest.raises(HostError, match=r"is running with the profile .* Close all its windows"):
        extension.install(extension_file, tmp_path, shared=True)
    with pytest.raises(HostError, match="is running with the profile"):
        office_setup._run("remove", tmp_path, True, IDENTIFIER)


def test_missing_libreoffice_is_said(extension_file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(office_setup, "UNIX_FOLDERS", ())
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(HostError, match=r"LibreOffice was not found\. Install it"):
        extension.install(extension_file, tmp_path)


def test_administrator_must_install_for_all(
    extension_file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(office_setup, "extension_program", lambda: Path("unopkg"))
    monkeypatch.setattr(office_setup, "_is_administrator", lambda: True)
    with pytest.raises(HostError, match="Say --shared"):
        extension.install(extension_file, tmp_path)


@pytest.mark.parametrize(
    ("folder", "version"),
    [
        ("program/python-core-3.8.16", (3, 8)),
        ("program/python-core-3.12.1", (3, 12)),
        ("Frameworks/LibreOfficePython.framework/Versions/3.9", (3, 9)),
        ("program/other", None),
    ],
)
def test_own_python_of_libreoffice(tmp_path: Path, folder: str, version: tuple[int, int] | None) -> None:
    (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "program").mkdir(exist_ok=True)
    assert office_setup.own_python(tmp_path / "program" / "unopkg") == version


def test_python_that_is_too_old_is_said(extension_file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "python-core-3.8.16").mkdir()
    monkeypatch.setattr(office_setup, "extension_program", lambda: tmp_path / "unopkg")
    with pytest.raises(HostError, match=r"brings Python 3\.8 with it; the functions need 3\.11"):
        extension.install(extension_file, tmp_path, shared=True)


def test_missing_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(HostError, match="no such file"):
        extension.install(tmp_path / "nowhere.oxt")


def test_what_libreoffice_refuses_is_passed_on(profile: Profile, tmp_path: Path) -> None:
    (tmp_path / "bad.oxt").write_bytes(b"not an extension")
    with pytest.raises(HostError, match="refused to add"):
        extension.install(tmp_path / "bad.oxt", profile.folder, shared=profile.shared)


def test_answers_of_unopkg_that_take_too_long(
    extension_file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def never(*words: object, **options: object) -> None:
        raise subprocess.TimeoutExpired("unopkg", 1)

    monkeypatch.setattr(subprocess, "run", never)
    with pytest.raises(HostError, match="did not answer within"):
        extension.install(extension_file, tmp_path, shared=True)
