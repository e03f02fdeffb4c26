"""Mutation testing of the arithmetic core: small faults put in one at a time; do the tests see them?

    python tests/mutation/run.py GROUP … [--sample N] [--seed N] [--seconds N] [--only TEXT]

The tests of a group are collected once, with all that they import. They run once untouched, to find
which test runs which line. Then for each fault the process forks; the child puts the faulty code in
the place of the sound one, runs the tests that run that line, the quickest first, then the others of
the group, and ends at the first that fails. A fault that no test sees within its seconds of processor time has survived.

Faults: comparisons turned or widened by their end, arithmetic and logical operators exchanged, signs
and negations dropped, whole numbers one up, truth values turned, conditions turned, ``min`` for
``max``, ``break`` for ``continue``. Left alone: what is raised and printed, annotations, decorators,
defaults of arguments, and what stands outside functions. ``equivalent.csv`` beside this lists faults
that change nothing that can be seen, each with its reason; they do not count.
"""

from __future__ import annotations

import argparse
import ast
import csv
import functools
import gc
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
import types
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import coverage
import pytest

ROOT = Path(__file__).parent.parent.parent
EQUIVALENT = Path(__file__).parent / "equivalent.csv"
GROUPS: dict[str, tuple[list[str], list[str]]] = {
    "measures": (
        ["measures/lengths", "measures/angles", "measures/scales", "measures/number_text"],
        ["small_faults", "lengths", "scales", "quantities", "lookup", "designations"],
    ),
    "trade": (
        [
            "trade/iso286",
            "trade/iso286_deviations",
            "trade/iso286_formulae",
            "trade/iso286_tables",
            "trade/trade_fits",
        ],
        ["small_faults", "trade_edges", "iso286", "trade_fits", "fit_commands"],
    ),
    "expressions": (
        ["expressions/values", "expressions/intervals"],
        ["small_faults", "expression_edges", "expression_values", "intervals", "expressions"],
    ),
    "solving": (
        ["settling/solve", "settling/linear_systems"],
        ["check_edges", "solving_edges", "solve", "open_sizes", "engine_edges"],
    ),
    "settling": (
        ["settling/limits", "settling/rows", "settling/settle", "settling/settled"],
        [
            "rows_edges",
            "settling_edges",
            "limits",
            "settle",
            "reduce",
            "row_links",
            "row_wishes",
            "demo",
        ],
    ),
    "checking": (
        ["checking/check", "checking/last_cut", "checking/last_cut_window", "checking/statements"],
        [
            "check_edges",
            "last_cut_edges",
            "statement_edges",
            "finding_edges",
            "check",
            "copies",
            "last_cut",
            "last_cut_cases",
            "demo",
        ],
    ),
}
"""Each group's modules under scaler/ and the test files that are tried on them."""

TURNED: dict[type, list[type]] = {
    ast.Lt: [ast.LtE, ast.Gt],
    ast.LtE: [ast.Lt, ast.GtE],
    ast.Gt: [ast.GtE, ast.Lt],
    ast.GtE: [ast.Gt, ast.LtE],
    ast.Eq: [ast.NotEq],
    ast.NotEq: [ast.Eq],
    ast.Is: [ast.IsNot],
    ast.IsNot: [ast.Is],
    ast.In: [ast.NotIn],
    ast.NotIn: [ast.In],
    ast.Add: [ast.Sub],
    ast.Sub: [ast.Add],
    ast.Mult: [ast.Div],
    ast.Div: [ast.Mult],
    ast.FloorDiv: [ast.Div],
    ast.Mod: [ast.FloorDiv],
    ast.Pow: [ast.Mult],
    ast.LShift: [ast.RShift],
    ast.RShift: [ast.LShift],
    ast.And: [ast.Or],
    ast.Or: [ast.And],
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One fault: where, what was there and what is there now."""

    module: str
    function: str
    line: int
    before: str
    after: str

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What names it, whatever line it stands on."""
        return self.module, self.function, self.before, self.after


def variants(node: ast.AST) -> Iterator[tuple[str, Any]]:
    """The faults that a node can have: the attribute that changes, and its new value."""
    if isinstance(node, ast.Compare):
        for at, op in enumerate(node.ops):
            for new in TURNED.get(type(op), []):
                yield "ops", [*node.ops[:at], new(), *node.ops[at + 1 :]]
    elif isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp):
        for new in TURNED.get(type(node.op), []):
            yield "op", new()
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield "", node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield "value", not node.value if isinstance(node.value, bool) else node.value + 1
    elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("min", "max"):
        yield "func", ast.Name("max" if node.func.id == "min" else "min", ast.Load())  # type: ignore[attr-defined]
    elif isinstance(node, ast.Break):
        yield "", ast.Continue()
    elif isinstance(node, ast.Continue):
        yield "", ast.Break()
    if isinstance(node, ast.If | ast.While | ast.IfExp) and not isinstance(node.test, ast.Compare):
        yield "test", ast.UnaryOp(ast.Not(), node.test)


def sites(function: ast.AST) -> Iterator[tuple[ast.AST, str, int | None, ast.AST]]:
    """Every node under a function that may take a fault: its parent, field, place there, itself."""
    for field, value in ast.iter_fields(function):
        if field in ("annotation", "returns", "decorator_list", "args") and isinstance(
            function, ast.FunctionDef | ast.AnnAssign
        ):
            continue
        children = value if isinstance(value, list) else [value]
        for at, child in enumerate(children):
            if isinstance(child, ast.AST) and not isinstance(child, ast.Raise | ast.JoinedStr):
                yield function, field, at if isinstance(value, list) else None, child
                yield from sites(child)


def outermost(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    """The functions of a module and the methods of its classes, by qualified name."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, node
        elif isinstance(node, ast.ClassDef):
            for item in node.body:
                if isinstance(item, ast.FunctionDef):
                    yield f"{node.name}.{item.name}", item


def sound(module: str) -> ast.Module:
    """The module as it stands."""
    return ast.parse((ROOT / "scaler" / f"{module}.py").read_text(encoding="utf-8"))


def mutants(module: str, tree: ast.Module) -> Iterator[Mutant]:
    """Every fault of a module, in the order of its text; while one is given, the tree has it."""
    for name, function in outermost(tree):
        for parent, field, at, node in sites(function):
            before, line = ast.unparse(node), getattr(node, "lineno", function.lineno)
            for attribute, value in variants(node):
                if attribute:
                    old = getattr(node, attribute)
                    setattr(node, attribute, value)
                    yield Mutant(module, name, line, before, ast.unparse(node))
                    setattr(node, attribute, old)
                else:
                    put(parent, field, at, ast.copy_location(value, node))
                    yield Mutant(module, name, line, before, ast.unparse(value))
                    put(parent, field, at, node)


def put(parent: ast.AST, field: str, at: int | None, node: ast.AST) -> None:
    """Puts a node into its parent's field, or into the list that it is."""
    if at is None:
        setattr(parent, field, node)
    else:
        getattr(parent, field)[at] = node


def code_of(code: types.CodeType, function: str) -> types.CodeType:
    """The code of a function inside that of its module. Raises LookupError where there is none."""
    head, _, rest = function.partition(".")
    for item in code.co_consts:
        if isinstance(item, types.CodeType) and item.co_name == head:
            return code_of(item, rest) if rest else item
    raise LookupError(function)


class Mutation:
    """A pytest plugin that runs mutants in the place of the tests."""

    def __init__(self, modules: list[str], options: argparse.Namespace) -> None:
        self.modules, self.options = modules, options
        self.failed = False
        self.lines: list[str] = []

    def pytest_collection(self) -> None:
        """Properties are not shrunk when they fail: that they do is enough."""
        from hypothesis import Phase, settings

        settings.register_profile(
            "mutants", settings.get_profile("scaler"), phases=(Phase.explicit, Phase.generate)
        )
        settings.load_profile("mutants")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Notes a failure."""
        self.failed |= report.failed

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """The untouched run, then every mutant."""
        terminal = session.config.pluginmanager.getplugin("terminalreporter")
        session.config.pluginmanager.unregister(terminal)
        self.live: dict[tuple[str, str], list[types.FunctionType]] = {}
        self.caches = []
        for item in gc.get_objects():
            if isinstance(item, types.FunctionType):
                key = (item.__code__.co_filename, item.__qualname__)
                self.live.setdefault(key, []).append(item)
            elif isinstance(item, functools._lru_cache_wrapper) and item.__module__:
                self.caches += [item] * item.__module__.startswith("scaler")
        gc.freeze()  # what is here by now is shared with every child
        seconds, running = self.untouched(session)
        by_name = {item.nodeid: item for item in session.items}
        known = listed()
        for module in self.modules:
            tree = sound(module)
            every = list(mutants(module, tree))
            kept = [
                number
                for number, fault in enumerate(every)
                if fault.key not in known and self.options.only in fault.function
            ]
            most = min(self.options.sample or len(kept), len(kept))
            chosen = set(random.Random(self.options.seed).sample(kept, most))
            survived, tried = [], False
            for number, fault in enumerate(mutants(module, tree)):
                if number not in chosen:
                    continue
                first = set(running.get(f"{module}:{fault.line}", []))
                # what is kept from call to call runs once a test: so the others may see it as well
                tests = sorted(seconds, key=lambda test: (whole(test) not in first, seconds[test]))
                items = [by_name[test] for test in tests]
                if not tried and not self.run(fault, sound(module), items):
                    raise SystemExit(
                        f"{module}: the sound code fails when it is put in like a fault"
                    )
                tried = True
                why = self.run(fault, tree, items)
                if why:
                    survived.append(fault)
                    at = f"scaler/{module}.py:{fault.line} {fault.function}"
                    print(f"  {why}: {at}: {fault.before} -> {fault.after}", flush=True)
            seen, all_ = len(chosen) - len(survived), len(chosen)
            print(
                f"{module}: {seen} of {all_} seen ({seen / max(all_, 1):.1%}), "
                f"{len(every)} faults, {len(every) - len(kept)} of them listed or left out",
                flush=True,
            )
        return True

    def untouched(self, session: pytest.Session) -> tuple[dict[str, float], dict[str, list[str]]]:
        """Processor seconds of every test that passes, and the tests that run each line."""
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "found.json"
            child = os.fork()
            if not child:
                self.watch(session, out)
                os._exit(0)
            os.waitpid(child, 0)
            seconds, running = json.loads(out.read_text(encoding="utf-8"))
        print(f"{len(seconds)} tests in {sum(seconds.values()):.0f} s, untouched", flush=True)
        return seconds, running

    def watch(self, session: pytest.Session, out: Path) -> None:
        """The untouched run itself, in a child."""
        files = {str(ROOT / "scaler" / f"{module}.py"): module for module in self.modules}
        watcher = coverage.Coverage(data_file=None, include=list(files), config_file=False)
        seconds = {}
        watcher.start()
        for item, following in zip(session.items, [*session.items[1:], None], strict=True):
            watcher.switch_context(whole(item.nodeid))
            began, self.failed = time.process_time(), False
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if not self.failed:
                seconds[item.nodeid] = time.process_time() - began
            if following is not None and whole(item.nodeid) != whole(following.nodeid):
                for cache in self.caches:  # each test works out anew what is kept
                    cache.cache_clear()
        watcher.stop()
        running: dict[str, list[str]] = {}
        for file, module in files.items():
            for line, tests in watcher.get_data().contexts_by_lineno(file).items():
                running[f"{module}:{line}"] = list(tests)
        out.write_text(json.dumps([seconds, running]), encoding="utf-8")

    def run(self, mutant: Mutant, tree: ast.Module, tests: list[pytest.Item]) -> str:
        """'' where a test sees the fault (or it never ends), else how it survived."""
        child = os.fork()
        if not child:
            resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, 1)
            os.dup2(nothing, 2)
            signal.signal(signal.SIGPROF, signal.SIG_DFL)
            file = str(ROOT / "scaler" / f"{mutant.module}.py")
            code = code_of(compile(ast.fix_missing_locations(tree), file, "exec"), mutant.function)
            for function in self.live[file, mutant.function]:
                function.__code__ = code
            for cache in self.caches:
                cache.cache_clear()
            began = time.process_time()
            for item in tests:
                self.failed = False
                # one test may take long by the fault, but not for ever
                signal.setitimer(signal.ITIMER_PROF, 30)
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
                if self.failed:
                    os._exit(1)
                if time.process_time() - began > self.options.seconds:
                    os._exit(2)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        code_ = os.waitstatus_to_exitcode(status)
        return {0: "survived", 2: f"not seen in {self.options.seconds} s"}.get(code_, "")


def whole(test: str) -> str:
    """A test's name without which of its cases it is."""
    return test.partition("[")[0]


def listed() -> set[tuple[str, str, str, str]]:
    """The faults that change nothing that can be seen."""
    with EQUIVALENT.open(newline="", encoding="utf-8") as file:
        return {
            (row["module"], row["function"], row["before"], row["after"])
            for row in csv.DictReader(file)
        }


def main() -> int:
    """Runs the groups asked for."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("groups", nargs="+", help=", ".join(GROUPS) + ", or a module of one")
    parser.add_argument("--sample", type=int, default=0, help="so many faults a module, at random")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=20, help="processor time for each fault")
    parser.add_argument("--only", default="", help="functions with this in their names")
    options = parser.parse_args()
    for word in options.groups:
        for group, (modules, tests) in GROUPS.items():
            if word == group or word in modules:
                if os.fork() == 0:
                    files = [f"tests/test_{name}.py" for name in tests]
                    files += [f"scaler/{module}.py" for module in modules]
                    wanted = modules if word == group else [word]
                    os.chdir(ROOT)
                    plugin = Mutation(wanted, options)
                    pytest.main(["-q", "-p", "no:cacheprovider", *files], plugins=[plugin])
                    sys.stdout.flush()
                    os._exit(0)
                os.wait()
    return 0


if __name__ == "__main__":
    sys.exit(main())
