"""Incremental updates of a signed record: they change what it shows and keep each signed byte."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import Any


def added_to(content: bytes, change: Callable[[Any], None]) -> bytes:
    """An incremental update that leaves every signed byte as it is."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(BytesIO(content))
    change(writer)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def rotate(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    page = writer.find_page_for_modification(0)[0].get_object()
    page[generic.NameObject("/Rotate")] = generic.NumberObject(90)
    writer.update_container(page)


def add_page(writer: Any) -> None:
    from pyhanko.pdf_utils.content import RawContent
    from pyhanko.pdf_utils.layout import BoxConstraints
    from pyhanko.pdf_utils.writer import PageObject

    stream = writer.add_object(
        RawContent(b"0 0 100 100 re S", box=BoxConstraints(595, 842)).as_form_xobject()
    )
    writer.insert_page(PageObject(contents=stream, media_box=(0, 0, 595, 842)))


def redraw_page(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    page = writer.find_page_for_modification(0)[0].get_object()
    page[generic.NameObject("/Contents")] = writer.add_object(
        generic.StreamObject(stream_data=b"BT ET")
    )
    writer.update_container(page)


def add_note(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    name = generic.NameObject
    note = generic.DictionaryObject(
        {
            name("/Type"): name("/Annot"),
            name("/Subtype"): name("/FreeText"),
            name("/Contents"): generic.TextStringObject("pass"),
            name("/Rect"): generic.ArrayObject(
                [generic.NumberObject(n) for n in (100, 700, 300, 760)]
            ),
            name("/DA"): generic.TextStringObject("/F 12 Tf"),
        }
    )
    page = writer.find_page_for_modification(0)[0].get_object()
    page[name("/Annots")] = generic.ArrayObject([*page.get("/Annots", ()), writer.add_object(note)])
    writer.update_container(page)


def rename(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    information = writer.trailer["/Info"]
    information[generic.NameObject("/Title")] = generic.TextStringObject(
        "Commissioning record CH-4"
    )
    writer.update_container(information)


def empty_last_signature(writer: Any) -> None:
    field = writer.root["/AcroForm"]["/Fields"][2].get_object()
    del field["/V"]
    writer.update_container(field)


def redraw_signature(writer: Any) -> None:
    from pyhanko.pdf_utils.content import RawContent
    from pyhanko.pdf_utils.generic import NameObject
    from pyhanko.pdf_utils.layout import BoxConstraints

    field = writer.root["/AcroForm"]["/Fields"][1].get_object()
    field["/AP"][NameObject("/N")] = writer.add_object(
        RawContent(b"0 0 9 9 re f", box=BoxConstraints(221, 85)).as_form_xobject()
    )
    writer.update_container(field)


def swap(files: dict[str, bytes]) -> Callable[[Any], None]:
    """Attachments replaced."""

    def change(writer: Any) -> None:
        from pyhanko.pdf_utils import generic

        names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
        for at in range(0, len(names), 2):
            if str(names[at]) in files:
                specification = names[at + 1]
                specification["/EF"][generic.NameObject("/F")] = writer.add_object(
                    generic.StreamObject(stream_data=files[str(names[at])])
                )
                writer.update_container(specification["/EF"])

    return change
