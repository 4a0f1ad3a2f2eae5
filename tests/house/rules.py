"""The rules of the house as functions of a file's text; each answers where the text breaks the rule."""

import ast
import re
from collections.abc import Iterator

_Function = ast.FunctionDef | ast.AsyncFunctionDef
# The tool that makes the lock has an option whose name ends like the forbidden one and does the opposite.
_INDEX = re.compile(r"(?<!no-emit-)index[-_]url", re.IGNORECASE)
_CHECK = re.compile(r"(^|_)(assert|check)")
_SOMEBODYS_HOME = re.compile(r"/(?:home|Users)/[A-Za-z]\w*/")


def transaction_lines(source: str) -> list[int]:
    """Lines that open a transaction with `atomic`."""
    return [node.lineno for node in ast.walk(ast.parse(source)) if _names_atomic(node)]


def _names_atomic(node: ast.AST) -> bool:
    match node:
        case ast.Attribute(attr="atomic"):
            return True
        case ast.ImportFrom(module="django.db.transaction", names=names):
            return any(alias.name in {"atomic", "*"} for alias in names)
        case _:
            return False


def iterator_lines(source: str) -> list[int]:
    """Lines that open a cursor with `.iterator(`."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    return [call.lineno for call in calls if isinstance(call.func, ast.Attribute) and call.func.attr == "iterator"]


def functions(source: str) -> list[tuple[str, int]]:
    """Name and number of lines of each function, from `def` to its last line."""
    return [
        (node.name, (node.end_lineno or node.lineno) - node.lineno + 1)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, _Function)
    ]


def hollow_tests(source: str) -> list[str]:
    """Names of tests that can only fail by accident: nothing in them asserts, expects an error or calls a check."""
    found = [node for node in ast.walk(ast.parse(source)) if isinstance(node, _Function)]
    able: dict[str, bool] = dict.fromkeys((each.name for each in found), False)
    before = -1
    while sum(able.values()) != before:  # a function is also able to fail through another one of its file
        before = sum(able.values())
        able |= {each.name: any(_can_fail(node, able) for node in ast.walk(each)) for each in found}
    return [name for name, is_able in able.items() if name.startswith("test_") and not is_able]


def _can_fail(node: ast.AST, able: dict[str, bool]) -> bool:
    match node:
        case ast.Assert(test=test):
            return not isinstance(test, ast.Constant | ast.Tuple)
        case ast.Call(func=ast.Attribute(value=ast.Name(id="pytest"), attr="raises")):
            return True
        case ast.Call(func=ast.Name(id=name) | ast.Attribute(attr=name)):
            return able.get(name, bool(_CHECK.search(name)))
        case _:
            return False


def machine_traces(text: str, home: str) -> Iterator[str]:
    """Traces of the machine that the text was written on: an address of packages, the checkout's own path, a home."""
    yield from (match.group() for match in _INDEX.finditer(text))
    yield from (match.group() for match in _SOMEBODYS_HOME.finditer(text))
    yield from re.findall(rf"{re.escape(home)}(?![\w-])", text)
