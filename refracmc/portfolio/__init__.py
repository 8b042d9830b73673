"""Which jobs of many wells to do, when, and how the crews get through them: arrays in, arrays out."""
