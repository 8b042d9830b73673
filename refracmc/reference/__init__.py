"""The reference: what `refracmc explain` prints, made from the source and from the texts of this folder."""
