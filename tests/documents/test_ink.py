"""Letters are printed, drawn, or visibly missing; never a black box."""

import pytest
from reportlab.platypus import Paragraph

from breeder.documents.fonts import letters
from breeder.documents.page_frame import style
from breeder.documents.printed_names import Name
from breeder.documents.printed_text import MISSING, Ink
from tests.documents.boxes import drawn, sheet, words


def printed(text: str) -> bytes:
    paper = sheet()
    return paper.print([paper.text(text)])


@pytest.mark.parametrize("letter", "őŐłşĐßéÑЖя→✓€£‘’×…–½°")
def test_letters_of_european_names_print_as_they_are(letter: str) -> None:
    assert ord(letter) in letters()
    assert letter in words(printed(f"a{letter}b"))


def test_sexes_are_drawn_as_shapes() -> None:
    content = printed("2 ♂ and 3 ♀, later one more ♀")
    assert drawn(content, "sign-male") == 1
    assert drawn(content, "sign-female") == 2
    assert MISSING not in words(content)


def test_a_letter_no_font_has_is_shown_as_missing_and_named_at_the_foot() -> None:
    text = words(printed("Shop 中文 in Town"))
    assert f"Shop {MISSING} in Town" in text
    assert "lack (U+4E2D, U+6587). Write them by hand." in text


def test_letters_with_a_plain_form_take_it() -> None:
    text = words(printed("Ｐill bug ﬁeld 1\u2009200 x\u200by soft\u00adhyphen"))
    assert "Pill bug" in text
    assert "1 200" in text
    assert "xy softhyphen" in text
    assert MISSING not in text


def test_no_printed_letter_lacks_a_glyph() -> None:
    """Every letter that reaches the page has a glyph in the face it is set in."""
    everything = "".join(chr(point) for point in range(0x20, 0x3000))
    for bold, italic in ((False, False), (True, False), (False, True), (True, True)):
        paragraph = Paragraph(Ink()(everything, bold=bold, italic=italic), style())
        for frag in paragraph.frags:
            face = letters(bold="Bold" in frag.fontName, italic="Italic" in frag.fontName)
            lacking = {letter for letter in frag.text if ord(letter) not in face}
            assert not lacking, f"{frag.fontName} lacks {lacking}"


def test_markup_in_a_name_is_printed_and_not_obeyed() -> None:
    assert "<b>bold</b> & <img src=x>" in words(printed("<b>bold</b> & <img src=x>"))


def test_a_scientific_name_is_italic_and_the_rest_upright() -> None:
    ink = Ink()
    name = Name("Armadillidium vulgare", "cf.", "Harbour", "Malta")
    assert name.whole(ink) == "<i>Armadillidium</i> cf. <i>vulgare</i> ‘Harbour’, Malta"
    assert Name("Cubaris", "sp.", "Panda").whole(ink) == "<i>Cubaris</i> sp. ‘Panda’"
    assert Name("Porcellio scaber", locality="Malta").whole(ink) == "<i>Porcellio scaber</i>, Malta"


def test_letters_the_italic_lacks_stand_upright() -> None:
    assert Ink()("Ж", italic=True) == "Ж"
    assert Ink()("a", italic=True) == "<i>a</i>"
