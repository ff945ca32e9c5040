"""A scan as it is looked at: pictures along the patient's axes, along a canal and across it, the tooth as a surface."""
