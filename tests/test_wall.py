"""Layers as people write them."""

import pytest

from bmp.wall import CONDUCTIVITY_W_PER_M_K, parse_layers, wall_U


@pytest.mark.parametrize(
    ("text", "layers"),
    [
        ("polystyrene 50 mm", [(0.05, 0.036)]),
        ("Plastic 3 mm; 40 mm 0.035", [(0.003, 0.4), (0.04, 0.035)]),
        ("", []),
    ],
)
def test_layers(text, layers):
    found = [(layer.thickness_m, layer.conductivity_W_per_m_K) for layer in parse_layers(text)]
    assert found == layers


@pytest.mark.parametrize("name", CONDUCTIVITY_W_PER_M_K)
def test_every_known_material_is_read(name):
    assert parse_layers(f"{name} 10 mm")[0].conductivity_W_per_m_K == CONDUCTIVITY_W_PER_M_K[name]


@pytest.mark.parametrize(
    "text", ["feathers 50 mm", "polystyrene", "polystyrene 5 cm", "steel 0 mm", "50 mm 0"]
)
def test_bad_layers_say_how_to_write_them(text):
    with pytest.raises(ValueError, match="polystyrene 50 mm"):
        parse_layers(text)


def test_no_layer_leaves_the_air_film():
    assert wall_U((), 0.04) == 25.0
