"""Rules that the engine's sources keep, read from their syntax trees: pure, and equal on every Python.

Each rule takes a parsed module and gives the lines that break it, as `line: what`. The test that uses
them also plants a breach of each, so that a rule that sees nothing is noticed.
"""

import ast
from collections.abc import Iterator

ALLOWED_MODULES = frozenset(
    # csv only ever gets a list of lines there: it splits cells and reaches no file
    {
        "collections.abc", "csv", "functools", "decimal", "hashlib", "itertools", "math", "re", "statistics", "sys",
        "typing",
    }
)
ALLOWED_PACKAGES = ("msgspec", "shared_models", "server.engine")
ALLOWED_OF = {
    "sys": frozenset({"float_info"}),  # the size of a float; anything else there is the process
    "statistics": frozenset({"NormalDist"}),
}
IMPURE_BUILTINS = frozenset(
    {"open", "input", "print", "eval", "exec", "compile", "__import__", "id", "hash", "globals"}
)
IMPURE_METHODS = frozenset({"now", "today", "utcnow", "samples"})
ALLOWED_NUMBERS = frozenset({0.0, 1.0, 2.0, 0.5})
ORDER_FREE = frozenset({"sorted", "set", "frozenset", "any", "all", "len", "fsum", "min", "max"})
WALKERS = frozenset(
    {"list", "tuple", "enumerate", "zip", "map", "filter", "iter", "next", "reversed", "fromkeys", "join"}
)
SET_METHODS = frozenset({"union", "intersection", "difference", "symmetric_difference", "copy"})


def impure_imports(tree: ast.Module) -> Iterator[str]:
    """Imports outside the allow list, and names taken from `sys` and `statistics` beyond the pure ones."""
    for node in ast.walk(tree):
        names: list[str] = []
        line = getattr(node, "lineno", 0)
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            module = node.module or ""
            names = ["." * node.level + module]
            for alias in node.names:
                if module in ALLOWED_OF and alias.name not in ALLOWED_OF[module]:
                    yield f"{node.lineno}: takes {alias.name} from {module}"
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            allowed = ALLOWED_OF.get(node.value.id)
            if allowed is not None and node.attr not in allowed:
                yield f"{node.lineno}: uses {node.value.id}.{node.attr}"
        for name in names:
            if name not in ALLOWED_MODULES and not any(
                name == package or name.startswith(f"{package}.") for package in ALLOWED_PACKAGES
            ):
                yield f"{line}: imports {name}"


def impure_calls(tree: ast.Module) -> Iterator[str]:
    """Calls of built-ins that reach outside or differ from process to process."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name) and node.func.id in IMPURE_BUILTINS:
            yield f"{node.lineno}: calls {node.func.id}()"
        if isinstance(node.func, ast.Attribute) and node.func.attr in IMPURE_METHODS:
            yield f"{node.lineno}: calls .{node.func.attr}()"


def unequal_arithmetic(tree: ast.Module) -> Iterator[str]:
    """Built-in `sum`, `log10`, `pow` and powers that are not whole numbers: their last bits differ."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("sum", "pow"):
            yield f"{node.lineno}: built-in {node.func.id}(); use math.fsum or a product"
        if isinstance(node, ast.Attribute) and node.attr in ("log10", "pow"):
            yield f"{node.lineno}: {node.attr}"
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
            whole = isinstance(node.right, ast.Constant) and isinstance(node.right.value, int)
            if not whole:
                yield f"{node.lineno}: a power that is not a written whole number"
        if isinstance(node, ast.AugAssign) and isinstance(node.op, ast.Pow):
            yield f"{node.lineno}: a power that is not a written whole number"


def stray_numbers(tree: ast.Module) -> Iterator[str]:
    """Numbers but 0, 1, 2, -1 and 0.5, also those hidden as the length of a written text."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, int | float | complex)
            and not isinstance(node.value, bool)
            and node.value not in ALLOWED_NUMBERS
        ):
            yield f"{node.lineno}: the number {node.value!r}"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            first = node.args[0] if node.args else None
            if node.func.id == "len" and isinstance(first, ast.Constant | ast.Tuple | ast.List | ast.JoinedStr):
                yield f"{node.lineno}: a number hidden in len()"
            if node.func.id in ("int", "float", "ord") and isinstance(first, ast.Constant):
                yield f"{node.lineno}: a number hidden in {node.func.id}()"


def walks_over_sets(tree: ast.Module) -> Iterator[str]:
    """Places where the order of a set would show: it changes with the hash seed. `sorted(a_set)` is fine."""
    yield from _SetWalks().run(tree)


class _SetWalks(ast.NodeVisitor):
    """Follows names bound to sets within a function or a module, and finds where they are walked over."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self.scopes: list[dict[str, bool]] = [{}]
        self.harmless: list[ast.AST] = []

    def run(self, tree: ast.Module) -> list[str]:
        self._bind_all(tree)
        self.visit(tree)
        return self.found

    def _is_set(self, node: ast.AST) -> bool:
        if isinstance(node, ast.Set | ast.SetComp):
            return True
        if isinstance(node, ast.Name):
            return next((scope[node.id] for scope in reversed(self.scopes) if node.id in scope), False)
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitOr | ast.BitAnd | ast.Sub | ast.BitXor):
            return any(self._is_set(side) or self._is_keys(side) for side in (node.left, node.right))
        if isinstance(node, ast.IfExp):
            return self._is_set(node.body) or self._is_set(node.orelse)
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                return node.func.id in ("set", "frozenset")
            if isinstance(node.func, ast.Attribute):
                return node.func.attr in SET_METHODS and self._is_set(node.func.value)
        return False

    @staticmethod
    def _is_keys(node: ast.AST) -> bool:
        return (
            isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in ("keys", "items")
        )

    def _bind_all(self, scope: ast.AST) -> None:
        for node in ast.walk(scope):
            if isinstance(node, ast.Assign):
                for target in node.targets:
                    if isinstance(target, ast.Name):
                        self.scopes[-1][target.id] = self._is_set(node.value)
            if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                self.scopes[-1][node.target.id] = self._says_set(node.annotation)
            if isinstance(node, ast.arg) and node.annotation is not None:
                self.scopes[-1][node.arg] = self._says_set(node.annotation)

    @staticmethod
    def _says_set(annotation: ast.AST) -> bool:
        named = annotation.value if isinstance(annotation, ast.Subscript) else annotation
        return isinstance(named, ast.Name) and named.id in ("set", "frozenset", "AbstractSet", "MutableSet")

    def _inside(self, node: ast.AST) -> None:
        self.scopes.append({})
        self._bind_all(node)
        self.generic_visit(node)
        self.scopes.pop()

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self._inside(node)

    def visit_Lambda(self, node: ast.Lambda) -> None:
        self._inside(node)

    def visit_For(self, node: ast.For) -> None:
        self._walked(node.iter, "for")
        self.generic_visit(node)

    def visit_Starred(self, node: ast.Starred) -> None:
        self._walked(node.value, "*")
        self.generic_visit(node)

    def _comprehension(self, node: ast.ListComp | ast.SetComp | ast.DictComp | ast.GeneratorExp) -> None:
        if node not in self.harmless and not isinstance(node, ast.SetComp):
            for generator in node.generators:
                self._walked(generator.iter, "comprehension")
        self.generic_visit(node)

    visit_ListComp = visit_SetComp = visit_DictComp = visit_GeneratorExp = _comprehension  # noqa: N815

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        keyed = any(keyword.arg == "key" for keyword in node.keywords)
        if name in ORDER_FREE and not (keyed and name in ("min", "max")):
            self.harmless.extend(node.args)
        for argument in node.args:
            if name in WALKERS or (name in ("min", "max") and keyed):
                self._walked(argument, f"{name}()")
        if name == "pop" and isinstance(node.func, ast.Attribute) and not node.args:
            self._walked(node.func.value, ".pop()")
        self.generic_visit(node)

    def _walked(self, node: ast.AST, how: str) -> None:
        if self._is_set(node):
            self.found.append(f"{getattr(node, 'lineno', 0)}: walks over a set ({how})")


def without_docstring(tree: ast.Module) -> Iterator[str]:
    """The module, public classes, and public functions and methods that say nothing of themselves."""
    if not ast.get_docstring(tree):
        yield "1: the module has no docstring"
    yield from _without_docstring(tree.body, "")


def _without_docstring(body: list[ast.stmt], owner: str) -> Iterator[str]:
    for node in body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not ast.get_docstring(node):
            yield f"{node.lineno}: {owner}{node.name} has no docstring"
        if isinstance(node, ast.ClassDef):
            yield from _without_docstring(node.body, f"{node.name}.")
