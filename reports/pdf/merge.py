"""Parts to one document: pages, structure for reading aloud, outline, labels, metadata."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, OutlineItem, Pdf, String

from reports.domain.dossier import Dossier
from reports.pdf import stamp as stamps

PRODUCER = "Plenum Ledger"


@dataclass(frozen=True, slots=True)
class Part:
    """A rendered part: its title in the outline, its group there, and the file."""

    title: str
    file: Path
    group: str = ""


def bind(parts: Sequence[Part], dossier: Dossier, target: Path, *, is_wide: bool) -> int:
    """Bind rendered parts to one PDF file and give its number of pages.

    The result is the same, byte for byte, for the same parts and dossier.
    """
    with Pdf.new() as book:
        root = _structure_root(book)
        streams: dict[bytes, Object] = {}
        outline: list[tuple[str, str, int]] = []
        for index, part in enumerate(parts):
            with pikepdf.open(part.file) as source:
                outline.append((part.group, part.title, len(book.pages)))
                _append(book, source, root, index, streams)
        # A sheet of labels is all labels: a strip would be printed across them.
        if dossier.frame.kind != "label-sheet":
            stamp = stamps.make_stamp(book, dossier, is_wide=is_wide)
            _share_fonts(stamp.form.Resources, streams)
            _share_fonts(Dictionary(Font=Dictionary(Digits=stamp.font)), streams)
            stamps.apply(book, stamp)
        root.ParentTreeNextKey = len(root.ParentTree.Nums) // 2
        _outline(book, outline)
        _describe(book, dossier)
        book.remove_unreferenced_resources()
        book.save(
            target,
            deterministic_id=True,
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
            compress_streams=True,
        )
        return len(book.pages)


def _structure_root(book: Pdf) -> Object:
    root = book.make_indirect(
        Dictionary(
            Type=Name.StructTreeRoot,
            ParentTree=book.make_indirect(Dictionary(Nums=Array([]))),
        )
    )
    whole = book.make_indirect(
        Dictionary(Type=Name.StructElem, S=Name.Document, P=root, K=Array([]))
    )
    root.K = whole
    book.Root.StructTreeRoot = root
    book.Root.MarkInfo = Dictionary(Marked=True)
    book.Root.Lang = String("en")
    book.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
    return root


def _append(book: Pdf, source: Pdf, root: Object, index: int, streams: dict[bytes, Object]) -> None:
    """Add a part's pages and hang its structure below the whole document's.

    Each page names its structure by a number (StructParents); numbers and the ids of table
    heads begin anew in every part and are therefore moved on.
    """
    first = len(book.pages)
    book.pages.extend(source.pages)
    nums = root.ParentTree.Nums
    shift = len(nums) // 2
    theirs = source.Root.StructTreeRoot
    # Copied after the pages, so that the elements point at the pages that are now ours.
    tree = book.copy_foreign(source.make_indirect(theirs))
    for i in range(0, len(tree.ParentTree.Nums), 2):
        nums.append(int(tree.ParentTree.Nums[i]) + shift)
        nums.append(tree.ParentTree.Nums[i + 1])
    for sheet in list(book.pages)[first:]:
        if "/StructParents" in sheet.obj:
            sheet.obj.StructParents = int(sheet.obj.StructParents) + shift
        for note in sheet.obj.get("/Annots", Array([])):
            if "/StructParent" in note:
                note.StructParent = int(note.StructParent) + shift
        _share_fonts(sheet.obj.Resources, streams)
    for element in tree.K if isinstance(tree.K, Array) else [tree.K]:
        element.P = root.K
        element.S = Name.Sect
        _rename(element, f"{index}-")
        root.K.K.append(element)
    if "/RoleMap" in tree:
        root.RoleMap = tree.RoleMap
    if "/Namespaces" in tree and "/Namespaces" not in root:
        root.Namespaces = tree.Namespaces


def _elements(top: Object) -> Iterator[Object]:
    stack = [top]
    while stack:
        element = stack.pop()
        yield element
        kids = element.get("/K")
        stack.extend(
            kid
            for kid in (kids if isinstance(kids, Array) else [kids])
            if isinstance(kid, Dictionary) and "/S" in kid
        )


def _rename(top: Object, prefix: str) -> None:
    """Make ids of table heads unique in the whole document."""
    for element in _elements(top):
        if "/ID" in element:
            element.ID = String(prefix + str(element.ID))
        attributes = element.get("/A")
        for entry in attributes if isinstance(attributes, Array) else [attributes]:
            if isinstance(entry, Dictionary) and "/Headers" in entry:
                entry.Headers = Array([String(prefix + str(head)) for head in entry.Headers])


def _share_fonts(resources: Object, streams: dict[bytes, Object]) -> None:
    """Keep one copy of each face, however many parts brought it."""
    for font in (resources.get("/Font") or Dictionary()).values():
        for below in font.get("/DescendantFonts", Array([])):
            descriptor = below.get("/FontDescriptor")
            if descriptor is None:
                continue
            for key in ("/FontFile2", "/FontFile3"):
                held = descriptor.get(key)
                if held is None:
                    continue
                digest = hashlib.sha256(held.read_raw_bytes()).digest()
                descriptor[key] = streams.setdefault(digest, held)


def _outline(book: Pdf, entries: Sequence[tuple[str, str, int]]) -> None:
    with book.open_outline() as outline:
        groups: dict[str, OutlineItem] = {}
        for group, title, at in entries:
            item = OutlineItem(title, at, "Fit")
            if not group:
                outline.root.append(item)
                continue
            if group not in groups:
                groups[group] = OutlineItem(group, at, "Fit")
                outline.root.append(groups[group])
            groups[group].children.append(item)
    if len(entries) > 1:
        book.Root.PageMode = Name.UseOutlines
    # Page labels give the number in the whole, the same as on the paper.
    book.Root.PageLabels = Dictionary(Nums=Array([0, Dictionary(S=Name.D, St=1)]))


def _describe(book: Pdf, dossier: Dossier) -> None:
    frame, project = dossier.frame, dossier.project
    state = f"{frame.number} issue {frame.issue}" if frame.state == "issued" else "draft"
    title = f"{frame.title}, {frame.scope_label} ({state})"
    subject = f"{project.number} {project.name}".strip()
    with book.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as meta:
        meta["dc:title"] = title
        meta["dc:description"] = subject
        meta["dc:language"] = {"en"}
        meta["dc:date"] = [frame.date]
        meta["pdf:Producer"] = PRODUCER
        meta["xmp:CreatorTool"] = PRODUCER
    book.docinfo["/Title"] = title
    book.docinfo["/Subject"] = subject
    book.docinfo["/Author"] = frame.person
    book.docinfo["/Creator"] = PRODUCER
    book.docinfo["/Producer"] = PRODUCER
