"""A simulated studio: scene, lens, sensor and raw writer, seeded, with the truth beside every frame."""
