"""Customers and machines of the invented shop. All of them are invented."""

from __future__ import annotations

from typing import NamedTuple


class C(NamedTuple):
    name: str
    kind: str
    contact: str
    city: str
    phone: str
    email: str
    machines: tuple[tuple[str, str, str, str, int, str], ...]  # kind, maker, model, serial, year, hours
    language: str = "en"


CUSTOMERS = (
    C("Cockle Row Ferries", "firm", "Isla Penhale", "Saltmarsh Quay", "+353 00 010 0101", "boats@cocklerow.example",
      (("engine", "Brindlecote", "B2", "B2-04417", 1998, "6412"), ("engine", "Brindlecote", "B2", "B2-05120", 2003, "4980"),
       ("pump", "Corran", "RW 40", "RW-1182", 2011, "3100"))),
    C("Dunmarsh Growers", "firm", "Odhran Vell", "Dunmarsh", "+353 00 010 0102", "yard@dunmarsh-growers.example",
      (("engine", "Ostwick", "5", "O5-22871", 1987, "9120"), ("engine", "Ostwick", "5", "O5-23005", 1989, "7750"),
       ("generator set", "Lanner", "G6", "G6-0331", 2009, "2240"))),
    C("Maud Tregarrow", "person", "", "Saltmarsh Quay", "+353 00 010 0103", "maud@tregarrow.example",
      (("engine", "Brindlecote", "B2", "B2-03390", 1994, "3875"),)),
    C("Brackwater Mussels", "firm", "Finn Osgar", "Brackwater", "+353 00 010 0104", "office@brackwater.example",
      (("engine", "Brindlecote", "B2", "B2-06244", 2008, "8230"), ("pump", "Corran", "RW 40", "RW-1530", 2014, "2650"))),
    C("Hallig Fischerei", "firm", "Wiebke Harms", "Nordersand", "+49 000 010105", "kontor@hallig-fischerei.example",
      (("engine", "Brindlecote", "B2", "B2-05871", 2006, "7015"),), "de"),
    C("Tobias Wren", "person", "", "Gullhaven", "+353 00 010 0106", "", (("engine", "Ostwick", "5", "O5-19440", 1979, "2210"),)),
    C("Averil Sailing School", "firm", "Una Castor", "Port Averil", "+353 00 010 0107", "boatswain@averil-sail.example",
      (("engine", "Brindlecote", "B2", "B2-04902", 2001, "2960"), ("engine", "Brindlecote", "B2", "B2-04903", 2001, "3020"))),
    C("Lower Fen Drainage Board", "firm", "Seoirse Quill", "Lower Fen", "+353 00 010 0108", "works@lowerfen.example",
      (("engine", "Ostwick", "5", "O5-20118", 1981, "14300"), ("pump", "Corran", "DP 80", "DP-0044", 1996, "8800"))),
    C("Petra Lindqvist-Obuya", "person", "", "Gullhaven", "+353 00 010 0109", "petra@lindqvist-obuya.example",
      (("generator set", "Lanner", "G6", "G6-0418", 2012, "1190"),)),
    C("Sandpiper Charter", "firm", "Joss Ferrier", "Saltmarsh Quay", "+353 00 010 0110", "joss@sandpiper.example",
      (("engine", "Brindlecote", "B2", "B2-07001", 2014, "1880"), ("gearbox", "Brindlecote", "MG 2", "MG2-0771", 2014, "1880"))),
    C("Kiln Farm", "firm", "Ada Broome", "Dunmarsh", "+353 00 010 0111", "kilnfarm@dunmarsh.example",
      (("engine", "Ostwick", "5", "O5-24410", 1992, "5100"),)),
    C("Harbour Trust Saltmarsh", "firm", "Col Mercer", "Saltmarsh Quay", "+353 00 010 0112", "harbour@saltmarsh-trust.example",
      (("engine", "Brindlecote", "B2", "B2-02711", 1991, "11020"), ("pump", "Corran", "RW 40", "RW-0908", 2007, "5400"))),
)  # fmt: skip

COMPLAINTS = {
    "engine": (
        "Smokes white in the morning and won't pull above half throttle.",
        "Loses coolant, none on the floor. Oil looks like milk.",
        "Knocks when warm, louder under load.",
        "Hard to start, three minutes of cranking.",
        "Burns a litre of oil in ten hours.",
        "Stopped at sea and would not turn.",
    ),
    "pump": ("Drips from the weep hole all day.", "Pumps half of what it did.", "Screams above idle."),
    "generator set": ("Hunts up and down, lights flicker.", "Won't take load."),
    "gearbox": ("Slips going astern.", "Whines in ahead."),
}
