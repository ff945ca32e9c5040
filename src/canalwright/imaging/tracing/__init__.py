"""One canal in a volume, followed and measured finer than a voxel."""
