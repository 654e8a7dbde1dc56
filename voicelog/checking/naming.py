"""Quantities as the trade writes them in few letters: the column heads of the schedule.

The signs are those of ``grammars/`` (a test holds the two together).
"""

SIGNS: dict[str, str] = {
    "earth_leakage": "I leak",
    "earth_leakage_dc": "I leak d.c.",
    "r1_r2": "R1+R2",
    "r2_cpc": "R2",
    "ring_r1": "r1",
    "ring_rn": "rn",
    "ring_r2": "r2",
    "ring_step2": "step 2",
    "ring_step3": "step 3",
    "ir_ll": "IR L-L",
    "ir_le": "IR L-E",
    "ir_ne": "IR N-E",
    "ir_lne": "IR LN-E",
    "ze": "Ze",
    "zs": "Zs",
    "pfc": "Ipf",
    "rcd_time": "RCD t",
    "rcd_ramp": "RCD ramp",
    "polarity": "polarity",
    "phase_rotation": "phase rotation",
    "functional": "functional check",
    "test_button": "test button",
    "voltage": "U",
    "points": "points",
    "main_fuse": "main fuse",
    "earthing": "earthing",
    "supply": "supply",
    "device_rating": "In",
    "device_type": "type",
    "rcd_rating": "I\u0394n",
    "rcd_type": "RCD type",
    "spd": "SPD",
    "bonding": "bonding",
    "electrode": "RA",
}


def sign(quantity: str) -> str:
    """``IR LN-E`` for ``ir_lne``; a quantity of another kind of work is written as its key."""
    return SIGNS.get(quantity, quantity.replace("_", " "))
