"""How the message of a sentence is found again whose values are filled in."""

import pytest

from drumkeep.language.patterns import Recogniser

SPANISH = Recogniser(
    {
        "and": "y",
        "is full": "está lleno",
        "It was {ended}.": "Fue {ended}.",
        "emptied": "vaciado",
        "{tag} of lot {lot} was poured into it.": "Se le trasvasó {tag} del lote {lot}.",
        "Put on hold: {reason}": "Retenido: {reason}",
        "Keep it shut. Call the manager.": "No lo abra. Llame al encargado.",
        "Step away": "Aléjese",
    }
)


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        ("K7Q-X4M of lot 2231 was poured into it.", "Se le trasvasó K7Q-X4M del lote 2231."),
        ("It was emptied.", "Fue vaciado."),
        ("Put on hold: emptied and is full", "Retenido: vaciado y está lleno"),
        ("Is full. It was emptied.", "Está lleno. Fue vaciado."),  # a stop that was put behind it
        ("Put on hold: it was emptied", "Retenido: fue vaciado"),  # a stop that was taken away
        (
            "It was emptied. Keep it shut. Call the manager. Step away.",
            "Fue vaciado. No lo abra. Llame al encargado. Aléjese.",
        ),
        ("Rosa wrote this. It was emptied.", "Rosa wrote this. Fue vaciado."),
        ("Rosa wrote this.", "Rosa wrote this."),
    ],
)
def test_a_composed_sentence_is_said_by_its_messages(english, spanish):
    assert SPANISH.say(english) == spanish
