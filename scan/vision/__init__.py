"""The way of a photo: grey pixels in, a card's reading out; `pipeline` shows it in one screenful.

Its rooms in the order in which a photo walks through them; each uses only those before it:

`opening` (bytes -> grey picture) -> `finding` (corner marks, which card) -> `flattening` (where every mm
lies) -> `seeing` (ink -> what each cell looks like) -> `doubting` (what the photo cannot show) -> `weighing`
(likelihoods and the card's sums -> posterior) -> `deciding` (values, flags, findings) -> `joining` (several
photos, one card).

What is handed on between seeing and deciding is `evidence`; `measuring` puts seeing and doubting together;
`trace` keeps what each step saw, `overlay` draws it; `warm` loads the whole way before the first photo;
`arrays` names the kinds of array, `per_layout` keeps what follows from a layout alone; `training` is run by
hand. Pure functions but for `opening.photo`, which opens files, and the networks of `seeing`, each loaded
once from the package.
"""
