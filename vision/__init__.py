"""Pictures and geometry: a photo in, a measurement out. Knows nothing of brake packages."""
