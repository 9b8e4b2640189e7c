"""The library stands alone: no window, no renderer, no program, nothing hidden in kernels."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "core" / "clearturn"
APP = ROOT / "app" / "clearturn_app"
WINDOW_PACKAGES = {"PySide6", "pyvista", "pyvistaqt", "vtk", "vtkmodules", "qtpy", "OpenGL"}
KERNEL_FILES = sorted(CORE.rglob("_kernels*.py"))


def imported(path: Path) -> set[str]:
    """First parts of the names a file imports, wherever in the file."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.partition(".")[0])
    return names


@pytest.mark.parametrize("path", sorted(CORE.rglob("*.py")), ids=lambda p: str(p.relative_to(CORE)))
def test_library_file_names_no_window_and_no_program(path: Path) -> None:
    assert not imported(path) & (WINDOW_PACKAGES | {"clearturn_app"})


@pytest.mark.parametrize("path", sorted((APP / "cli").glob("*.py")), ids=lambda p: p.name)
def test_command_line_names_no_window(path: Path) -> None:
    assert not imported(path) & WINDOW_PACKAGES


def test_library_runs_where_no_window_package_can_be_imported() -> None:
    code = f"""
import importlib, pkgutil, sys
class Refuse:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {sorted(WINDOW_PACKAGES)!r} + ["clearturn_app"]:
            raise AssertionError("imported " + name)
sys.meta_path.insert(0, Refuse())
import clearturn
names = [m.name for m in pkgutil.walk_packages(clearturn.__path__, "clearturn.")]
for name in names:
    importlib.import_module(name)
print(len(names))
"""
    done = subprocess.run(
        [sys.executable, "-c", code], check=False, capture_output=True, text=True, env={"PATH": ""}
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) == len(list(CORE.rglob("*.py"))) - 1


def test_the_check_above_can_fail() -> None:
    assert imported(Path(__file__)) >= {"ast", "pytest"}
    tree = APP / "cli" / "main.py"
    assert "clearturn_app" in imported(tree)


@pytest.mark.parametrize("path", sorted(CORE.rglob("*.py")), ids=lambda p: str(p.relative_to(CORE)))
def test_only_kernel_files_name_the_compiler(path: Path) -> None:
    if path not in KERNEL_FILES:
        assert "numba" not in imported(path)


def jitted(tree: ast.Module) -> list[tuple[ast.FunctionDef, dict[str, str]]]:
    """Functions with an njit decorator and its keyword arguments."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            for mark in node.decorator_list:
                call = mark if isinstance(mark, ast.Call) else None
                name = ast.unparse(call.func if call else mark)
                if name.rpartition(".")[2] in {"njit", "jit"}:
                    keywords = call.keywords if call else []
                    options = {k.arg or "": ast.unparse(k.value) for k in keywords}
                    found.append((node, options))
    return found


@pytest.mark.parametrize("path", KERNEL_FILES, ids=lambda p: str(p.relative_to(CORE)))
def test_every_kernel_is_compiled_as_the_house_rules_say(path: Path) -> None:
    functions = jitted(ast.parse(path.read_text(encoding="utf-8")))
    assert functions
    for function, options in functions:
        wanted = {"nogil": "True", "cache": "True", "error_model": "'numpy'"}
        assert {k: options.get(k) for k in wanted} == wanted, function.name
        assert options.get("parallel", "False") == "False", function.name
        # A cached kernel that calls itself crashes when loaded from the cache.
        called = {n.id for n in ast.walk(function) if isinstance(n, ast.Name)}
        assert function.name not in called, function.name


@pytest.mark.parametrize("path", KERNEL_FILES, ids=lambda p: str(p.relative_to(CORE)))
def test_kernels_take_nothing_from_outside_their_package(path: Path) -> None:
    # What is out of date in the compiler's cache is found by lines of just this form.
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert not any(alias.name.startswith("clearturn") for alias in node.names)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("clearturn"):
            package, _, module = (node.module or "").rpartition(".")
            assert package == f"clearturn.{path.parent.name}"
            assert module.startswith("_kernels")
            assert node.col_offset == 0


def test_every_package_with_kernels_can_be_warmed_up() -> None:
    from clearturn.warmup import packages

    owners = {path.parent.relative_to(CORE).parts[0] for path in KERNEL_FILES}
    assert owners == set(packages())


@pytest.mark.slow
def test_warming_up_compiles_every_kernel() -> None:
    names = [
        ".".join(("clearturn", *p.relative_to(CORE).with_suffix("").parts)) for p in KERNEL_FILES
    ]
    code = f"""
import importlib
from clearturn.warmup import warm_up
warm_up()
for name in {names!r}:
    module = importlib.import_module(name)
    for key, value in vars(module).items():
        if hasattr(value, "py_func") and value.__module__ == name and not value.signatures:
            print(name, key)
"""
    done = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    # Kernels that only other kernels call are compiled inside them.
    missing = [line.split() for line in done.stdout.splitlines()]
    for name, key in missing:
        callers = [
            f.name
            for path in KERNEL_FILES
            for f, _ in jitted(ast.parse(path.read_text(encoding="utf-8")))
            if f.name != key and any(isinstance(n, ast.Name) and n.id == key for n in ast.walk(f))
        ]
        assert callers, f"{name}.{key} is not called by warm_up()"


def test_truth_of_the_demo_is_made_without_the_library() -> None:
    folder = ROOT / "sample_meshes"
    scripts = {folder / "truth.py"}
    while True:  # and whatever it imports from its own folder
        names = {name for path in scripts for name in imported(path)}
        more = {folder / f"{name}.py" for name in names if (folder / f"{name}.py").exists()}
        if more <= scripts:
            break
        scripts |= more
    assert len(scripts) > 1
    for path in scripts:
        assert not imported(path) & {"clearturn", "clearturn_app"}, path.name
