"""The official lists of GHS hazard and precautionary statements, in English. Where they are from: see ghs.py."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple


class Hazard(NamedTuple):
    """`signal`: D danger, W warning, or none."""

    text: str
    pictograms: tuple[str, ...]
    signal: str


# code | pictograms by their last digit | signal word | text
_HAZARDS = """
H200|1|D|Unstable explosive
H201|1|D|Explosive; mass explosion hazard
H202|1|D|Explosive; severe projection hazard
H203|1|D|Explosive; fire, blast or projection hazard
H204|1|W|Fire or projection hazard
H205||D|May mass explode in fire
H206|2|D|Fire, blast or projection hazard; increased risk of explosion if desensitizing agent is reduced
H207|2|D|Fire or projection hazard; increased risk of explosion if desensitizing agent is reduced
H208|2|W|Fire hazard; increased risk of explosion if desensitizing agent is reduced
H209|1|D|Explosive
H210|1|D|Very sensitive
H211|1|D|May be sensitive
H220|2|D|Extremely flammable gas
H221|2|D|Flammable gas
H222|2|D|Extremely flammable aerosol
H223|2|W|Flammable aerosol
H224|2|D|Extremely flammable liquid and vapour
H225|2|D|Highly flammable liquid and vapour
H226|2|W|Flammable liquid and vapour
H227||W|Combustible liquid
H228|2|D|Flammable solid
H229||W|Pressurized container: may burst if heated
H230|2|D|May react explosively even in the absence of air
H231|2|D|May react explosively even in the absence of air at elevated pressure and/or temperature
H232|2|D|May ignite spontaneously if exposed to air
H240|1|D|Heating may cause an explosion
H241|12|D|Heating may cause a fire or explosion
H242|2|D|Heating may cause a fire
H250|2|D|Catches fire spontaneously if exposed to air
H251|2|D|Self-heating; may catch fire
H252|2|W|Self-heating in large quantities; may catch fire
H260|2|D|In contact with water releases flammable gases which may ignite spontaneously
H261|2|D|In contact with water releases flammable gases
H270|3|D|May cause or intensify fire; oxidizer
H271|3|D|May cause fire or explosion; strong oxidizer
H272|3|D|May intensify fire; oxidizer
H280|4|W|Contains gas under pressure; may explode if heated
H281|4|W|Contains refrigerated gas; may cause cryogenic burns or injury
H282|24|D|Extremely flammable chemical under pressure: may explode if heated
H283|24|W|Flammable chemical under pressure: may explode if heated
H284|4|W|Chemical under pressure: may explode if heated
H290|5|W|May be corrosive to metals
H300|6|D|Fatal if swallowed
H301|6|D|Toxic if swallowed
H302|7|W|Harmful if swallowed
H303||W|May be harmful if swallowed
H304|8|D|May be fatal if swallowed and enters airways
H305|8|W|May be harmful if swallowed and enters airways
H310|6|D|Fatal in contact with skin
H311|6|D|Toxic in contact with skin
H312|7|W|Harmful in contact with skin
H313||W|May be harmful in contact with skin
H314|5|D|Causes severe skin burns and eye damage
H315|7|W|Causes skin irritation
H316||W|Causes mild skin irritation
H317|7|W|May cause an allergic skin reaction
H318|5|D|Causes serious eye damage
H319|7|W|Causes serious eye irritation
H320||W|Causes eye irritation
H330|6|D|Fatal if inhaled
H331|6|D|Toxic if inhaled
H332|7|W|Harmful if inhaled
H333||W|May be harmful if inhaled
H334|8|D|May cause allergy or asthma symptoms or breathing difficulties if inhaled
H335|7|W|May cause respiratory irritation
H336|7|W|May cause drowsiness or dizziness
H340|8|D|May cause genetic defects
H341|8|W|Suspected of causing genetic defects
H350|8|D|May cause cancer
H350i|8|D|May cause cancer by inhalation
H351|8|W|Suspected of causing cancer
H360|8|D|May damage fertility or the unborn child
H360F|8|D|May damage fertility
H360D|8|D|May damage the unborn child
H360FD|8|D|May damage fertility. May damage the unborn child
H360Fd|8|D|May damage fertility. Suspected of damaging the unborn child
H360Df|8|D|May damage the unborn child. Suspected of damaging fertility
H361|8|W|Suspected of damaging fertility or the unborn child
H361f|8|W|Suspected of damaging fertility
H361d|8|W|Suspected of damaging the unborn child
H361fd|8|W|Suspected of damaging fertility. Suspected of damaging the unborn child
H362|||May cause harm to breast-fed children
H370|8|D|Causes damage to organs
H371|8|W|May cause damage to organs
H372|8|D|Causes damage to organs through prolonged or repeated exposure
H373|8|W|May cause damage to organs through prolonged or repeated exposure
H400|9|W|Very toxic to aquatic life
H401|||Toxic to aquatic life
H402|||Harmful to aquatic life
H410|9|W|Very toxic to aquatic life with long lasting effects
H411|9||Toxic to aquatic life with long lasting effects
H412|||Harmful to aquatic life with long lasting effects
H413|||May cause long lasting harmful effects to aquatic life
H420|7|W|Harms public health and the environment by destroying ozone in the upper atmosphere
H300+H310|6|D|Fatal if swallowed or in contact with skin
H300+H330|6|D|Fatal if swallowed or if inhaled
H310+H330|6|D|Fatal in contact with skin or if inhaled
H300+H310+H330|6|D|Fatal if swallowed, in contact with skin or if inhaled
H301+H311|6|D|Toxic if swallowed or in contact with skin
H301+H331|6|D|Toxic if swallowed or if inhaled
H311+H331|6|D|Toxic in contact with skin or if inhaled
H301+H311+H331|6|D|Toxic if swallowed, in contact with skin or if inhaled
H302+H312|7|W|Harmful if swallowed or in contact with skin
H302+H332|7|W|Harmful if swallowed or if inhaled
H312+H332|7|W|Harmful in contact with skin or if inhaled
H302+H312+H332|7|W|Harmful if swallowed, in contact with skin or if inhaled
H303+H313||W|May be harmful if swallowed or in contact with skin
H303+H333||W|May be harmful if swallowed or if inhaled
H313+H333||W|May be harmful in contact with skin or if inhaled
H303+H313+H333||W|May be harmful if swallowed, in contact with skin or if inhaled
H315+H320|7|W|Causes skin and eye irritation
"""

# code | text; … stands for what the supplier fills in
_PRECAUTIONS = """
P101|If medical advice is needed, have product container or label at hand
P102|Keep out of reach of children
P103|Read carefully and follow all instructions
P201|Obtain special instructions before use
P202|Do not handle until all safety precautions have been read and understood
P203|Obtain, read and follow all safety instructions before use
P210|Keep away from heat, hot surfaces, sparks, open flames and other ignition sources. No smoking
P211|Do not spray on an open flame or other ignition source
P212|Avoid heating under confinement or reduction of the desensitizing agent
P220|Keep away from clothing and other combustible materials
P222|Do not allow contact with air
P223|Do not allow contact with water
P230|Keep diluted with …
P231|Handle and store contents under inert gas
P232|Protect from moisture
P233|Keep container tightly closed
P234|Keep only in original packaging
P235|Keep cool
P236|Keep only in original packaging; division … in the transport configuration
P240|Ground and bond container and receiving equipment
P241|Use explosion-proof electrical, ventilating and lighting equipment
P242|Use non-sparking tools
P243|Take action to prevent static discharges
P244|Keep valves and fittings free from oil and grease
P250|Do not subject to grinding, shock, friction
P251|Do not pierce or burn, even after use
P260|Do not breathe dust, fume, gas, mist, vapours or spray
P261|Avoid breathing dust, fume, gas, mist, vapours or spray
P262|Do not get in eyes, on skin, or on clothing
P263|Avoid contact during pregnancy and while nursing
P264|Wash hands and … thoroughly after handling
P265|Do not touch eyes
P270|Do not eat, drink or smoke when using this product
P271|Use only outdoors or in a well-ventilated area
P272|Contaminated work clothing should not be allowed out of the workplace
P273|Avoid release to the environment
P280|Wear protective gloves, protective clothing, eye protection, face protection, hearing protection
P282|Wear cold insulating gloves and either face shield or eye protection
P283|Wear fire resistant or flame retardant clothing
P284|Wear respiratory protection
P231+P232|Handle and store contents under inert gas. Protect from moisture
P264+P265|Wash hands and … thoroughly after handling. Do not touch eyes
P301|If swallowed:
P302|If on skin:
P303|If on skin (or hair):
P304|If inhaled:
P305|If in eyes:
P306|If on clothing:
P308|If exposed or concerned:
P310|Immediately call a poison centre or doctor
P311|Call a poison centre or doctor
P312|Call a poison centre or doctor if you feel unwell
P313|Get medical advice
P314|Get medical advice if you feel unwell
P315|Get immediate medical advice
P316|Get emergency medical help immediately
P317|Get medical help
P318|If exposed or concerned, get medical advice
P319|Get medical help if you feel unwell
P320|Specific treatment is urgent (see … on this label)
P321|Specific treatment (see … on this label)
P330|Rinse mouth
P331|Do not induce vomiting
P332|If skin irritation occurs:
P333|If skin irritation or rash occurs:
P334|Immerse in cool water or wrap in wet bandages
P335|Brush off loose particles from skin
P336|Immediately thaw frosted parts with lukewarm water. Do not rub affected area
P337|If eye irritation persists:
P338|Remove contact lenses, if present and easy to do. Continue rinsing
P340|Remove person to fresh air and keep comfortable for breathing
P342|If experiencing respiratory symptoms:
P351|Rinse cautiously with water for several minutes
P352|Wash with plenty of water
P353|Rinse skin with water or shower
P354|Immediately rinse with water for several minutes
P360|Rinse immediately contaminated clothing and skin with plenty of water before removing clothes
P361|Take off immediately all contaminated clothing
P362|Take off contaminated clothing
P363|Wash contaminated clothing before reuse
P364|And wash it before reuse
P370|In case of fire:
P371|In case of major fire and large quantities:
P372|Explosion risk
P373|Do not fight fire when fire reaches explosives
P375|Fight fire remotely due to the risk of explosion
P376|Stop leak if safe to do so
P377|Leaking gas fire: do not extinguish, unless leak can be stopped safely
P378|Use … to extinguish
P380|Evacuate area
P381|In case of leakage, eliminate all ignition sources
P390|Absorb spillage to prevent material damage
P391|Collect spillage
P301+P316|If swallowed: get emergency medical help immediately
P301+P317|If swallowed: get medical help
P301+P310|If swallowed: immediately call a poison centre or doctor
P301+P312|If swallowed: call a poison centre or doctor if you feel unwell
P301+P330+P331|If swallowed: rinse mouth. Do not induce vomiting
P302+P334|If on skin: immerse in cool water or wrap in wet bandages
P302+P335+P334|If on skin: brush off loose particles from skin. Immerse in cool water or wrap in wet bandages
P302+P352|If on skin: wash with plenty of water
P302+P361+P354|If on skin: take off immediately all contaminated clothing. Immediately rinse with water for several minutes
P303+P361+P353|If on skin (or hair): take off immediately all contaminated clothing. Rinse skin with water or shower
P304+P312|If inhaled: call a poison centre or doctor if you feel unwell
P304+P340|If inhaled: remove person to fresh air and keep comfortable for breathing
P305+P351+P338|If in eyes: rinse cautiously with water for several minutes. Remove contact lenses, if present and easy to do. Continue rinsing
P305+P354+P338|If in eyes: immediately rinse with water for several minutes. Remove contact lenses, if present and easy to do. Continue rinsing
P306+P360|If on clothing: rinse immediately contaminated clothing and skin with plenty of water before removing clothes
P308+P311|If exposed or concerned: call a poison centre or doctor
P308+P313|If exposed or concerned: get medical advice
P308+P316|If exposed or concerned: get emergency medical help immediately
P332+P313|If skin irritation occurs: get medical advice
P332+P317|If skin irritation occurs: get medical help
P333+P313|If skin irritation or rash occurs: get medical advice
P333+P317|If skin irritation or rash occurs: get medical help
P335+P334|Brush off loose particles from skin. Immerse in cool water or wrap in wet bandages
P336+P315|Immediately thaw frosted parts with lukewarm water. Do not rub affected area. Get immediate medical advice
P336+P317|Immediately thaw frosted parts with lukewarm water. Do not rub affected area. Get medical help
P337+P313|If eye irritation persists: get medical advice
P337+P317|If eye irritation persists: get medical help
P342+P311|If experiencing respiratory symptoms: call a poison centre or doctor
P342+P316|If experiencing respiratory symptoms: get emergency medical help immediately
P361+P364|Take off immediately all contaminated clothing and wash it before reuse
P362+P364|Take off contaminated clothing and wash it before reuse
P370+P376|In case of fire: stop leak if safe to do so
P370+P378|In case of fire: use … to extinguish
P370+P380+P375|In case of fire: evacuate area. Fight fire remotely due to the risk of explosion
P371+P380+P375|In case of major fire and large quantities: evacuate area. Fight fire remotely due to the risk of explosion
P401|Store in accordance with …
P402|Store in a dry place
P403|Store in a well-ventilated place
P404|Store in a closed container
P405|Store locked up
P406|Store in a corrosion-resistant container with a resistant inner liner
P407|Maintain air gap between stacks or pallets
P410|Protect from sunlight
P411|Store at temperatures not exceeding … °C
P412|Do not expose to temperatures exceeding 50 °C
P413|Store bulk masses greater than … kg at temperatures not exceeding … °C
P420|Store separately
P402+P404|Store in a dry place. Store in a closed container
P403+P233|Store in a well-ventilated place. Keep container tightly closed
P403+P235|Store in a well-ventilated place. Keep cool
P410+P403|Protect from sunlight. Store in a well-ventilated place
P410+P412|Protect from sunlight. Do not expose to temperatures exceeding 50 °C
P501|Dispose of contents and container in accordance with local rules
P502|Refer to manufacturer or supplier for information on recovery or recycling
P503|Refer to manufacturer or supplier for information on disposal, recovery or recycling
"""


def _rows(table: str) -> list[list[str]]:
    return [line.split("|") for line in table.split("\n") if line]


HAZARDS: Final[Mapping[str, Hazard]] = MappingProxyType(
    {code: Hazard(text, tuple(f"GHS0{n}" for n in digits), signal) for code, digits, signal, text in _rows(_HAZARDS)}
)
PRECAUTIONS: Final[Mapping[str, str]] = MappingProxyType({code: text for code, text in _rows(_PRECAUTIONS)})
