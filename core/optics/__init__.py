"""Head-borne afocal optics on plain numbers: no patient, no case, no file.

Sign convention (Cartesian): light travels from the object to the eye, distances along it are
positive, a real object in front has a negative vergence. Lengths are millimetres unless a name
says otherwise; powers and vergences are dioptres (suffix ``_d``); angles are degrees or minutes
of arc as the suffix says. The angular magnification is signed: positive for a Galilean tube,
negative for a Keplerian. An erecting prism turns the seen picture only, so the minus sign stays
in every focus and vergence formula.
"""
