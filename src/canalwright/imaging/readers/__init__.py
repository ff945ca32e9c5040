"""Files to volumes: DICOM, the ITK formats, stacks of pictures. The only input of this room besides `mesh.surfaces` and `radiograph.read`."""
