"""The simulator of pens, paper and cameras: photos of filled-in cards with their exact truth.

rounds (answers) -> filling (marks, handwriting, pens on paper) -> a sheet with the truth of each cell;
conditions -> camera (surface, lens, light, sensor) -> a photo with the map from card mm to photo px.
`scenario` is the front door, `gallery` shows every condition to a person, `samples` makes the sample photos.
It shares no code with `scan.vision`: an error that both made would be invisible.
"""
