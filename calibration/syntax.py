"""A digest of the code that a result depends on: of what it does, not of how it is written.

From the functions named as roots it follows every name they use, through the project's own
packages, to the definitions that can run. Each definition (function, method, class body,
module-level statement) is reduced to its syntax tree without comments, docstrings, annotations,
imports and the texts of raised errors. Local names become numbers in order of appearance. A name of
the project becomes the digest of what it names, found by repeated refinement (after Weisfeiler and
Leman's for graphs). So none of these changes the digest: another format, a moved file, a definition
moved to another file, a consistent new name of a module, class, function, parameter or attribute,
new code that nothing here uses. A number, an operator, an order or a called function that changes
does.

Attributes are told apart by name alone: a name that two classes share counts as one, and giving one
of them another name changes the digest. A name reached only through a computed string is not seen.
"""

from __future__ import annotations

import ast
import hashlib
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

PACKAGES = ("beltpitch", "calibration")
ROUNDS = 6  # of refinement; definitions that differ further away than that are seldom swapped
KEYWORDS_THROUGH = ("dataclasses.", "functools.")  # pass the project's own keywords on
GUARDS = ("__name__", "__package__", "TYPE_CHECKING")
_SKIPPED = frozenset({"ctx", "kind", "type_comment", "annotation", "returns", "type_ignores"})
Function = ast.FunctionDef | ast.AsyncFunctionDef
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
COMPREHENSIONS = (ast.GeneratorExp, ast.ListComp, ast.SetComp, ast.DictComp)
SCOPES = (*FUNCTIONS, ast.ClassDef, ast.Lambda, *COMPREHENSIONS)


@dataclass(eq=False, slots=True)
class Piece:
    """One definition. A token is a text, or a tuple that names something of the project."""

    module: Module
    node: ast.stmt
    names: tuple[str, ...] = ()
    methods: list[Piece] = field(default_factory=list)
    tokens: list[str | tuple[object, ...]] = field(default_factory=list)
    uses: list[Piece] = field(default_factory=list)
    words: set[str] = field(default_factory=set)  # attributes and texts

    @property
    def parameters(self) -> list[str]:
        """Names by which arguments may be given, in order; a class's fields without a function."""
        if isinstance(self.node, FUNCTIONS):
            given = self.node.args
            return [each.arg for each in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
        starts = [each for each in self.methods if each.names == ("__init__",)]
        return starts[0].parameters[1:] if starts else self.fields

    @property
    def fields(self) -> list[str]:
        """What a class body binds, in order, then what its methods bind on their first argument."""
        if not isinstance(self.node, ast.ClassDef):
            return []
        found = [name for each in self.node.body for name in _bound([each])]
        for method in self.methods:
            first = method.parameters[:1]
            found += [
                each.attr
                for each in ast.walk(method.node)
                if isinstance(each, ast.Attribute)
                and isinstance(each.ctx, ast.Store)
                and isinstance(each.value, ast.Name)
                and [each.value.id] == first
            ]
        return list(dict.fromkeys(found))


def _bound(nodes: Sequence[ast.AST]) -> list[str]:
    """Return the names that statements bind in their own scope."""
    found: list[str] = []
    for node in nodes:
        if isinstance(node, (*FUNCTIONS, ast.ClassDef)):
            found.append(node.name)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.append(node.id)
        elif isinstance(node, ast.ExceptHandler | ast.MatchAs | ast.MatchStar) and node.name:
            found.append(node.name)
        if not isinstance(node, SCOPES):
            found += _bound(list(ast.iter_child_nodes(node)))
    return list(dict.fromkeys(found))


def _is_text(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _guarded(node: ast.stmt) -> bool:
    """Whether a statement runs only in a script or a type checker."""
    return isinstance(node, ast.If) and any(
        isinstance(each, ast.Name) and each.id in GUARDS for each in ast.walk(node.test)
    )


class Module:
    """One file: its definitions by name, its imports, and the statements that bind no name."""

    def __init__(self, sources: Sources, name: str, path: Path) -> None:
        self.sources, self.name = sources, name
        self.pieces: dict[str, Piece] = {}
        self.loose: list[Piece] = []
        self.imports: dict[str, tuple[str, str | None]] = {}
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                for each in node.names:
                    whole = each.name if each.asname else each.name.partition(".")[0]
                    self.imports[each.asname or whole] = (whole, None)
            elif isinstance(node, ast.ImportFrom):
                for each in node.names:
                    self.imports[each.asname or each.name] = (node.module or "", each.name)
        for statement in tree.body:
            self._define(statement)

    def _define(self, node: ast.stmt) -> None:
        if isinstance(node, ast.Import | ast.ImportFrom) or _is_text(node) or _guarded(node):
            return
        piece = Piece(self, node, tuple(_bound([node])))
        if isinstance(node, ast.ClassDef):
            bodies = [each for each in node.body if isinstance(each, FUNCTIONS)]
            piece.methods = [Piece(self, each, (each.name,)) for each in bodies]
        for name in piece.names:
            if isinstance(node, ast.AnnAssign) and node.value is None:
                continue
            self.pieces[name] = piece
        if not piece.names:
            self.loose.append(piece)

    def find(self, name: str) -> tuple[Piece, str] | str:
        """Return the definition and its name there; a dotted name if it is nobody's here."""
        if name in self.pieces:
            return self.pieces[name], name
        if name not in self.imports:
            return name
        module, inner = self.imports[name]
        if inner is None:
            return module
        dotted = f"{module}.{inner}" if module else inner
        if self.sources.module(dotted) is not None:
            return dotted
        there = self.sources.module(module)
        return dotted if there is None else there.find(inner)


class Sources:
    """The project's packages under a folder."""

    def __init__(self, root: Path, uncounted: Sequence[str] = ()) -> None:
        self.root, self.uncounted = root, uncounted
        self._modules: dict[str, Module | None] = {}

    def module(self, name: str) -> Module | None:
        """Return a module of the project by its dotted name, None for any other."""
        if name not in self._modules:
            base = self.root.joinpath(*name.split("."))
            paths = [base.with_suffix(".py"), base / "__init__.py"] if name else []
            own = name.partition(".")[0] in PACKAGES and name not in self.uncounted
            path = next((each for each in paths if each.is_file()), None) if own else None
            self._modules[name] = None if path is None else Module(self, name, path)
        return self._modules[name]

    def root_piece(self, name: str) -> Piece:
        """Return the definition that ``module:function`` names."""
        module, _, inner = name.partition(":")
        there = self.module(module)
        found = inner if there is None else there.find(inner)
        if isinstance(found, tuple):
            return found[0]
        raise LookupError(f"there is no {inner} in {module}")

    def digest(self, roots: Sequence[str]) -> str:
        """Return the SHA-256 of all that the roots can run."""
        reached = _reached([self.root_piece(name) for name in roots])
        members: dict[str, list[tuple[object, ...]]] = defaultdict(list)
        for piece in reached:
            for index, name in enumerate(piece.fields):
                members[name].append(("ref", piece, index))
            for method in piece.methods:
                if method in reached:
                    members[method.names[0]].append(("ref", method, 0))
        colours = dict.fromkeys(reached, "")
        own = dict.fromkeys(members, "")
        for _ in range(ROUNDS):
            seen = _Colours(colours, own, members)
            colours = {piece: seen.of(piece.tokens) for piece in reached}
            own = {
                name: _sha(*sorted(seen.of([token]) for token in tokens))
                for name, tokens in members.items()
            }
        return _sha(*sorted(colours.values()))


@dataclass(slots=True)
class _Colours:
    pieces: dict[Piece, str]
    own: dict[str, str]
    members: dict[str, list[tuple[object, ...]]]

    def of(self, tokens: Sequence[str | tuple[object, ...]]) -> str:
        return _sha(*(each if isinstance(each, str) else self._token(each) for each in tokens))

    def _token(self, token: tuple[object, ...]) -> str:
        kind, what, *more = token
        if kind == "ref":
            assert isinstance(what, Piece)
            return f"ref {self.pieces.get(what, '')} {more}"
        assert isinstance(what, str)
        if kind == "keyword":  # of a call of any method of that name
            methods = [each[1] for each in self.members.get(str(more[0]), [])]
            known = [each.parameters for each in methods if isinstance(each, Piece)]
            found = sorted({names.index(what) for names in known if what in names})
            return f"keyword {found or what}"
        return f"member {self.own.get(what, what)}"


def _sha(*parts: str) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _reached(roots: Sequence[Piece], called: Sequence[str] = ()) -> dict[Piece, None]:
    """Return what can run: all that is named, and of a class the methods whose names occur."""
    found: dict[Piece, None] = {}
    words = set(called)
    waiting = list(roots)
    while waiting:
        while waiting:
            piece = waiting.pop()
            if piece in found:
                continue
            found[piece] = None
            _Reduced(piece).run()
            words |= piece.words
            waiting += piece.uses + piece.module.loose
        methods = [each for piece in found for each in piece.methods if each not in found]
        waiting = [
            each for each in methods if each.names[0] in words or each.names[0].startswith("__")
        ]
    return found


class _Reduced:
    """Reduces one definition to its tokens."""

    def __init__(self, piece: Piece) -> None:
        self.piece = piece
        self.scopes: list[dict[str, str]] = []
        self.count = 0
        self.raising = 0
        self.special: dict[type[ast.AST], Callable[[Any], None]] = {
            **dict.fromkeys(FUNCTIONS, self._inner),
            **dict.fromkeys(COMPREHENSIONS, self._comprehension),
            ast.ClassDef: self._class,
            ast.Lambda: self._function,
            ast.AnnAssign: self._assign,
            ast.Raise: self._raise,
            ast.Constant: self._constant,
            ast.JoinedStr: self._filled,
            ast.Name: lambda node: self._name(node.id),
            ast.Attribute: self._attribute,
            ast.Call: self._call,
        }

    def run(self) -> None:
        """Put all tokens."""
        self.piece.tokens, self.piece.uses = [], []
        node = self.piece.node
        if isinstance(node, ast.ClassDef):
            self._open(_bound(node.body))
            for each in (*node.decorator_list, *node.bases, *node.keywords):
                self.see(each)
            for part in node.body:
                if not isinstance(part, FUNCTIONS):
                    self.see(part)
        elif isinstance(node, FUNCTIONS):
            self._function(node)
        else:
            self.see(node)

    def _put(self, *tokens: str | tuple[object, ...]) -> None:
        self.piece.tokens += tokens

    def _open(self, names: Sequence[str]) -> None:
        self.scopes.append(dict.fromkeys(names, ""))

    def _function(self, node: Function | ast.Lambda) -> None:
        """Decorators and defaults are seen from outside, the body from inside."""
        if isinstance(node, FUNCTIONS):
            for each in node.decorator_list:
                self.see(each)
        given = node.args
        for value in (*given.defaults, *given.kw_defaults):
            self._put("default")
            if value is not None:
                self.see(value)
        named = [*given.posonlyargs, *given.args, *given.kwonlyargs]
        named += [rest for rest in (given.vararg, given.kwarg) if rest]
        body = node.body if isinstance(node.body, list) else [node.body]
        self._open([*(one.arg for one in named), *_bound(body)])
        self._put(type(node).__name__, str(len(given.posonlyargs)), str(len(given.kwonlyargs)))
        for one in named:
            self._name(one.arg)
        for part in body:
            self.see(part)
        self.scopes.pop()

    def see(self, node: ast.AST) -> None:
        """Put the tokens of a node."""
        if isinstance(node, ast.Import | ast.ImportFrom) or _is_text(node):
            return
        special = self.special.get(type(node))
        if special is not None:
            special(node)
        else:
            self._whole(node)

    def _whole(self, node: ast.AST) -> None:
        self._put(f"({type(node).__name__}")
        self._children(node)
        self._put(")")

    def _children(self, node: ast.AST) -> None:
        for name in node._fields:
            value = getattr(node, name, None)
            if name in _SKIPPED or value is None or value == []:
                continue
            self._put(f"{name}:")
            for each in value if isinstance(value, list) else [value]:
                if isinstance(each, ast.AST):
                    self.see(each)
                else:
                    self._name(each) if isinstance(each, str) else self._put(repr(each))

    def _inner(self, node: Function) -> None:
        self._name(node.name)
        self._function(node)

    def _class(self, node: ast.ClassDef) -> None:
        """Put a class within a function: rare, taken whole."""
        self._open(_bound(node.body))
        self._whole(node)
        self.scopes.pop()

    def _comprehension(self, node: ast.AST) -> None:
        inner = [each for each in ast.iter_child_nodes(node) if isinstance(each, ast.comprehension)]
        self._open(_bound([each.target for each in inner]))
        self._put(f"({type(node).__name__}")
        for each in inner:
            self._put("(for")
            self._children(each)
        for name in ("elt", "key", "value"):
            part = getattr(node, name, None)
            if part is not None:
                self.see(part)
        self._put(")")
        self.scopes.pop()

    def _assign(self, node: ast.AnnAssign) -> None:
        self._put("(Assign")
        self._children(node)
        self._put(")")

    def _raise(self, node: ast.Raise) -> None:
        self.raising += 1
        self._whole(node)
        self.raising -= 1

    def _constant(self, node: ast.Constant) -> None:
        text = isinstance(node.value, str)
        if text:
            self.piece.words.add(str(node.value))
        self._put("text" if text and self.raising else repr(node.value))

    def _filled(self, node: ast.JoinedStr) -> None:
        self._put("text") if self.raising else self._whole(node)

    def _name(self, name: str) -> None:
        """Put a name: a number if local, what it names if the project's, itself otherwise."""
        for scope in reversed(self.scopes):
            if name in scope:
                if not scope[name]:
                    self.count += 1
                    scope[name] = f"local {self.count}"
                self._put(scope[name])
                return
        self._found(self.piece.module.find(name))

    def _found(self, found: tuple[Piece, str] | str) -> None:
        if isinstance(found, str):
            self._put(f"name {found}")
            return
        piece, name = found
        self.piece.uses.append(piece)
        self._put(("ref", piece, piece.names.index(name)))

    def _outside(self, node: ast.AST) -> tuple[Piece, str] | str | None:
        """Return what a name or a dotted name leads to; None if that begins with a local."""
        if isinstance(node, ast.Name):
            local = any(node.id in scope for scope in self.scopes)
            return None if local else self.piece.module.find(node.id)
        if not isinstance(node, ast.Attribute):
            return None
        base = self._outside(node.value)
        if not isinstance(base, str):
            return None
        there = self.piece.module.sources.module(base)
        return f"{base}.{node.attr}" if there is None else there.find(node.attr)

    def _attribute(self, node: ast.Attribute) -> None:
        found = self._outside(node)
        if found is not None:
            self._found(found)
            return
        self.piece.words.add(node.attr)
        self._put(".")
        self.see(node.value)
        self._put(("member", node.attr))

    def _call(self, node: ast.Call) -> None:
        self._put("(Call")
        self.see(node.func)
        for each in node.args:
            self.see(each)
        for keyword in node.keywords:
            self._put("=")
            if keyword.arg is not None:
                self._put(self._keyword(keyword.arg, node.func))
            self.see(keyword.value)
        self._put(")")

    def _keyword(self, name: str, function: ast.expr) -> str | tuple[object, ...]:
        found = self._outside(function)
        if isinstance(found, tuple):
            names = found[0].parameters
            return f"keyword {names.index(name)}" if name in names else ("member", name)
        if isinstance(found, str) and not found.startswith(KEYWORDS_THROUGH):
            return f"keyword {name}"
        if found is None and isinstance(function, ast.Attribute):
            return ("keyword", name, function.attr)
        return ("member", name)


def definitions(
    sources: Sources, roots: Sequence[str], called: Sequence[str] = ()
) -> Iterator[str]:
    """Yield the names of what the roots can run, as ``module:name``.

    ``called``: methods of the roots that are called from elsewhere.
    """
    for piece in _reached([sources.root_piece(name) for name in roots], called):
        yield f"{piece.module.name}:{','.join(piece.names)}"
