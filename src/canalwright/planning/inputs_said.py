"""The inputs whose errors a plan carries, as people call them."""

INPUT_WORDS = {
    "width": "canal widths", "wall": "dentine wall", "file": "file tolerance", "cone": "cone tolerance",
    "crest": "crest of bone", "crest_level": "crest of bone", "cej": "CEJ", "cej_level": "CEJ", "stop": "setting of stops",
    "carrier_offset": "temperature of the carrier", "carrier_power_share": "power of the carrier",
    "contact_conductance": "contact of carrier and gutta-percha", "gp_capacity": "heat capacity of gutta-percha",
    "gp_conductivity": "conductivity of gutta-percha", "gp_freeze": "freezing point of gutta-percha",
    "gp_latent": "latent heat of gutta-percha", "gp_melt_first": "first melting point of gutta-percha",
    "gp_melt_second": "second melting point of gutta-percha", "dentine_capacity": "heat capacity of dentine",
    "dentine_conductivity": "conductivity of dentine", "bone_capacity": "heat capacity of bone",
    "bone_conductivity": "conductivity of bone", "bone_perfusion": "blood flow in bone",
    "ligament_capacity": "heat capacity of the ligament", "ligament_conductivity": "conductivity of the ligament",
    "ligament_perfusion": "blood flow in the ligament", "sealer_resistance": "thermal resistance of the sealer",
}  # fmt: skip


def said(name: str) -> str:
    """An input by its name, such as `gp_freeze`, in words."""
    return INPUT_WORDS.get(name, name.replace("_", " "))
