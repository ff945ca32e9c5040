"""DICOM that leaves: encapsulated PDF, structured report, segmentation; all of one case in one study."""
