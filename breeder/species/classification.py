"""The higher taxa that a species belongs to, so that a rule on an order, class or phylum covers it.

Ranks are those of Darwin Core (kingdom to species). Genus is the first word of the name; family and order are the
species' own values. Classes and phyla by order follow Ruggiero et al. 2015, A higher level classification of all
living organisms, PLoS ONE 10(4): e0119248 (from memory); they are not fields, since each order has only one class.
"""

from breeder.species.models import Species

ARTHROPODS = ("Arthropoda", "Animalia")
CRUSTACEANS = ("Malacostraca", "Crustacea", *ARTHROPODS)
SPRINGTAILS = ("Collembola", "Hexapoda", *ARTHROPODS)
INSECTS = ("Insecta", "Hexapoda", *ARTHROPODS)
MILLIPEDES = ("Diplopoda", "Myriapoda", *ARTHROPODS)
CENTIPEDES = ("Chilopoda", "Myriapoda", *ARTHROPODS)
ARACHNIDS = ("Arachnida", "Chelicerata", *ARTHROPODS)
SNAILS = ("Gastropoda", "Mollusca", "Animalia")
WORMS = ("Clitellata", "Annelida", "Animalia")

# The taxa above an order, nearest first. Springtails are a class of their own, not insects.
ABOVE: dict[str, tuple[str, ...]] = {
    "Isopoda": CRUSTACEANS, "Amphipoda": CRUSTACEANS, "Decapoda": CRUSTACEANS,
    "Entomobryomorpha": SPRINGTAILS, "Poduromorpha": SPRINGTAILS, "Symphypleona": SPRINGTAILS,
    "Neelipleona": SPRINGTAILS,
    "Spirostreptida": MILLIPEDES, "Spirobolida": MILLIPEDES, "Polydesmida": MILLIPEDES, "Julida": MILLIPEDES,
    "Sphaerotheriida": MILLIPEDES, "Glomerida": MILLIPEDES, "Polyxenida": MILLIPEDES,
    "Scolopendromorpha": CENTIPEDES, "Lithobiomorpha": CENTIPEDES, "Geophilomorpha": CENTIPEDES,
    "Scutigeromorpha": CENTIPEDES,
    "Blattodea": INSECTS, "Coleoptera": INSECTS, "Orthoptera": INSECTS, "Phasmida": INSECTS, "Phasmatodea": INSECTS,
    "Mantodea": INSECTS, "Diptera": INSECTS, "Lepidoptera": INSECTS, "Hymenoptera": INSECTS, "Hemiptera": INSECTS,
    "Zygentoma": INSECTS,
    "Araneae": ARACHNIDS, "Scorpiones": ARACHNIDS, "Amblypygi": ARACHNIDS, "Thelyphonida": ARACHNIDS,
    "Opiliones": ARACHNIDS, "Pseudoscorpiones": ARACHNIDS,
    "Stylommatophora": SNAILS, "Haplotaxida": WORMS, "Crassiclitellata": WORMS,
}  # fmt: skip

# The same by the keeper's group, for a species without an order on record.
ABOVE_GROUP: dict[str, tuple[str, ...]] = {
    Species.Group.ISOPOD: ("Isopoda", *CRUSTACEANS),
    Species.Group.SPRINGTAIL: SPRINGTAILS,
    Species.Group.MILLIPEDE: MILLIPEDES,
    Species.Group.ROACH: ("Blattodea", *INSECTS),
    Species.Group.SNAIL: SNAILS,
    Species.Group.OTHER: ("Animalia",),
}


def covering_taxa(species: Species) -> tuple[str, ...]:
    """Return the names that cover a species, nearest first: species, genus, family, order, class and above."""
    name = species.scientific_name.strip()
    above = ABOVE.get(species.order_name) or ABOVE_GROUP.get(species.group, ())
    named = (name, name.split(" ")[0], species.family, species.order_name, *above)
    return tuple(dict.fromkeys(part for part in named if part))


def is_determined(species: Species) -> bool:
    """Return whether the species itself is known: a name of two words without cf., aff. or sp."""
    return not species.qualifier and " " in species.scientific_name.strip()


def known_taxa() -> set[str]:
    """Return the names above the family that the tool knows."""
    return {*ABOVE, *(name for names in (*ABOVE.values(), *ABOVE_GROUP.values()) for name in names)}
