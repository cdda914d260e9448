"""Things of known size in a photo: what there is, and finding each with its edges to a fraction of a pixel."""
