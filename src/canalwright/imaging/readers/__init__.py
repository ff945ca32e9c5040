"""Files to volumes: DICOM, the ITK formats, stacks of pictures."""
