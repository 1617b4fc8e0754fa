"""From taped marks on a field to a camera with a covariance."""
