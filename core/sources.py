"""The literature behind the numbers: one key for each source, its citation, and how much of it was read.

Formulas, constants, settings and published checks name their source by these keys. The words in brackets
at the end of a citation say how far it may be leaned on: *page read*, *abstract read*, *from memory*.
"""

from __future__ import annotations

SOURCES: dict[str, str] = {
    "AAO-PPP": (
        "American Academy of Ophthalmology. Vision Rehabilitation Preferred Practice Pattern, 2022 "
        "(summary read)"
    ),
    "ABDO-LV": (
        "Association of British Dispensing Opticians. Low vision advice and guidelines (first half read)"
    ),
    "ANSI-Z80": "ANSI Z80.1-2010 (a tolerance summary read, not the standard)",
    "AOA-BTS": (
        "Deol R, American Optometric Association Vision Rehabilitation Committee. Tips on prescribing "
        "and fitting a bioptic telescope system, part II, April 2019 (first half read)"
    ),
    "AOA-CPG14": (
        "American Optometric Association. Clinical Practice Guideline 14, Care of the patient with "
        "visual impairment, 1997 and 2007 (title pages only)"
    ),
    "AOA-EXAM": (
        "American Optometric Association. Examination of the individual with vision impairment, October "
        "2004 (read)"
    ),
    "ARVO-EXP": (
        "ARVO annual meeting abstract, reading speed v print size in 50 low-vision patients, exponential"
        " fit (read; authors not recorded)"
    ),
    "ASLAM14": "Aslam T et al. Graefes Arch Clin Exp Ophthalmol 2014 (abstract read)",
    "ATCHISON97": (
        "Atchison DA, Charman WN, Woods RL. Subjective depth-of-focus of the eye. Optom Vis Sci "
        "1997;74:511-520 (abstract read)"
    ),
    "ATILGAN20": (
        "Atilgan N, Xiong YZ, Legge GE. Reconciling print-size and display-size constraints on reading. "
        "Proc Natl Acad Sci USA 2020;117:30276-30284, doi 10.1073/pnas.2007514117 (abstract read)"
    ),
    "BACH": "Bach M. University Eye Hospital Freiburg, acuity conversion note (read)",
    "BAILEY04": (
        "Bailey IL. A rational approach to prescribing magnifiers, course notes, December 2004 (read)"
    ),
    "BECKMANN96": (
        "Beckmann PJ, Legge GE. Psychophysics of reading XIV. Vision Res 1996;36:3723-3733 (abstract read)"
    ),
    "BIOPTIC08": (
        "Recognition speed using a bioptic telescope. Optom Vis Sci 2008;85:1135-1141, doi "
        "10.1097/OPX.0b013e31818e8eca (abstract read)"
    ),
    "BLENDOWSKE15": "Blendowske R. Optom Vis Sci 2015, PMID 25955640 (abstract read)",
    "BROWN08": (
        "Brown WL, Siemsen DW. Magnification labels for stand magnifiers. Optometry 2008;79:9-17 "
        "(abstract read)"
    ),
    "CAGENELLO93": (
        "Cagenello R, Arditi A, Halpern DL. Binocular enhancement of visual acuity. J Opt Soc Am A 1993 "
        "(abstract read; authors from memory)"
    ),
    "CALABRESE16": (
        "Calabrese A et al. Baseline reading-chart measures for normally sighted subjects from childhood"
        " to old age. Invest Ophthalmol Vis Sci 2016;57:3836-3843, PMID 27442222 (abstract read)"
    ),
    "CHART-CS": (
        "Methods section of an article in Invest Ophthalmol Vis Sci describing a letter contrast chart "
        "(excerpt read; authors not recorded)"
    ),
    "CHEONG02": (
        "Cheong AMY, Lovie-Kitchin JE, Bowers AR. Determining magnification for reading with low vision."
        " Clin Exp Optom 2002;85:229-237 (abstract read)"
    ),
    "CHEUNG08": "Cheung SH et al. 2008, log-exponential fit of reading curves (from memory)",
    "CIUFFREDA": (
        "ARVO annual meeting abstract on 'bothersome blur', 13 young adults under cycloplegia (read; "
        "group of Ciuffreda and Selenow)"
    ),
    "COHEN-WAISS": (
        "Cohen JM, Waiss B, reading speed through equivalent power devices with identical field. Optom "
        "Vis Sci about 1991 (abstract read; details from memory)"
    ),
    "COLENBRANDER": (
        "Colenbrander A. Measuring vision and vision loss. Duane's Clinical Ophthalmology vol. 5 ch. 51 "
        "fig. 14, and the abstract 'Snellen revisited' (read)"
    ),
    "COLLEGE-LV": (
        "The College of Optometrists (UK). Guidance for Professional Practice: assessing patients with "
        "low vision; dispensing low vision devices (pages read)"
    ),
    "CROSSLAND12": (
        "Crossland MD, Rubin GS. Text accessibility by people with reduced contrast sensitivity. Optom "
        "Vis Sci 2012;89(9), doi 10.1097/OPX.0b013e318264cc62 (abstract read)"
    ),
    "DEMER87": (
        "Demer JL et al. Vestibulo-ocular reflex during magnified vision: adaptation to reduce visual-"
        "vestibular conflict (abstract read; authors from memory, Aviat Space Environ Med 1987)"
    ),
    "DEMER88": "Demer JL et al. Invest Ophthalmol Vis Sci 1988;29:1184-1189, PMID 3417408 (abstract read)",
    "DEMER89": (
        "Demer JL et al., predictors of functional success. Invest Ophthalmol Vis Sci 1989 (abstract "
        "read; details from memory)"
    ),
    "DEMER91": (
        "Demer JL et al., prospective study of 32 candidates. Invest Ophthalmol Vis Sci 1991 (abstract "
        "read; details from memory)"
    ),
    "DEMER93": (
        "Demer JL, Amjadi F. Dynamic visual acuity of normal subjects during vertical optotype and head "
        "motion. Invest Ophthalmol Vis Sci 1993;34:1894-1906 (abstract read)"
    ),
    "DEMER96": (
        "Demer JL et al. Effect of telescopic spectacles on retinal image stability and scan paths. "
        "Vision Science and its Applications 1996, paper FA.3 (abstract read; first author from memory)"
    ),
    "DICOM-RR": "DICOM PS3.17, annex RR, RR.2.2 and table RR-1 (read; dicom.nema.org)",
    "DODGSON04": (
        "Dodgson NA. Variation and extrema of human interpupillary distance. Proc SPIE 2004;5291, doi "
        "10.1117/12.529999 (abstract read)"
    ),
    "DOHERTY11": (
        "Doherty AL, Bowers AR, Luo G, Peli E. Object detection in the ring scotoma of a monocular "
        "bioptic telescope. Arch Ophthalmol 2011;129:611-617, doi 10.1001/archophthalmol.2011.85, "
        "PMC3092125 (read in part, fig. 2)"
    ),
    "ELLIOTT01": (
        "Elliott DB, Patel B, Whitaker D. Development of a reading speed test for potential-vision "
        "measurements. Invest Ophthalmol Vis Sci 2001;42:1945-1949 (excerpt read; authors from memory)"
    ),
    "FINE96": "Fine EM, Kirschen MP, Peli E. J Am Optom Assoc 1996, PMID 8888863 (abstract read)",
    "GREEN80": (
        "Green DG, Powers MK, Banks MS. Depth of focus, eye size and visual acuity. Vision Res "
        "1980;20:827-835 (abstract read; formula from a secondary note)"
    ),
    "HOFSTETTER50": "Hofstetter HW. Useful age-amplitude formula. Optom World 1950 (from memory)",
    "ISO14133": "ISO 14133, binoculars, monoculars and spotting scopes (not read)",
    "ISO14490": "ISO 14490-2, telescopic systems, test methods (scope read)",
    "ISO15253": (
        "ISO 15253:2021, Optical and electro-optical devices for enhancing low vision (excerpt of "
        "clauses 5.1-5.2 in a third-party copy)"
    ),
    "ISO8596": "ISO 8596 Ophthalmic optics, visual acuity testing: ring geometry (excerpt read)",
    "JOSE77": (
        "Jose RT, Atcherson RM. Type-size variability for near-point acuity tests. Am J Optom Physiol "
        "Opt 1977 (abstract read; authors and year from memory)"
    ),
    "KATZ07": (
        "Katz M. Fields of view of Galilean telescopes and telemicroscopes. Optom Vis Sci 2007;84(6), "
        "doi 10.1097/OPX.0b013e31806db573 (abstract read)"
    ),
    "KISER05": (
        "Kiser AK et al. Reliability and consistency of visual acuity and contrast sensitivity measures "
        "in advanced eye disease. Optom Vis Sci 2005;82:946-954 (abstract read)"
    ),
    "LANGE09": (
        "Lange C et al. Graefes Arch Clin Exp Ophthalmol 2009;247:137-142, PMID 18766368 (abstract read)"
    ),
    "LATHAM12": (
        "Latham K, Tabrett DR. Guidelines for predicting performance with low vision aids. Optom Vis Sci"
        " 2012;89:1316-1326 (abstract read)"
    ),
    "LATHAM22": (
        "Latham K, Macnaughton J, comfortable print size. Ophthalmic Physiol Opt 2022 (abstract read)"
    ),
    "LEGGE-BIGELOW11": (
        "Legge GE, Bigelow CA. Does print size matter for reading? J Vis 2011;11(5):8, doi "
        "10.1167/11.5.8 (abstract read)"
    ),
    "LEGGE-LAB": "Legge laboratory, University of Minnesota, reading-speed procedure (read)",
    "LEGGE07": "Legge GE. Psychophysics of Reading in Normal and Low Vision, 2007 (from memory)",
    "MCCLURE13": "McClure ME. Bioptic telescopes. Optom Pract 2013;14:11-20 (introduction read)",
    "MILLODOT": (
        "Millodot M. Dictionary of Optometry and Visual Science, entry 'depth of focus' (excerpt read)"
    ),
    "MISSOURI": "University of Missouri School of Health Professions, low-vision teaching case 3002 (read)",
    "MUTCD-30": (
        "Manual on Uniform Traffic Control Devices (US), 2009 edition, section 2A.13, 1 inch per 30 feet"
        " (from memory)"
    ),
    "MUTCD-40": (
        "Manual on Uniform Traffic Control Devices (US), older edition, section 2A.14 (excerpt read)"
    ),
    "NYGAARD08": "Nygaard RW, Echt KV, Schuchard RA. J Rehabil Res Dev 2008;45:901-910 (abstract read)",
    "ODUNTAN06": "Oduntan OA. A logMAR near-reference table, 2006 (abstract read)",
    "OGLE53": (
        "Ogle KN, Prangen AdeH. AMA Arch Ophthalmol 1953;49:313 (first page read; authors from memory)"
    ),
    "OPTICS-TEXT": "Standard textbook of geometrical optics, for example Hecht E, Optics (from memory)",
    "OPTOMETRY-TEXT": (
        "Standard textbooks of optometry, for example Borish's Clinical Refraction; Dickinson, Low "
        "Vision: Principles and Practice; Jackson and Wolffsohn, Low Vision Manual (from memory)"
    ),
    "PATEL11": (
        "Patel PJ et al. Test-retest variability of reading performance in AMD. Invest Ophthalmol Vis "
        "Sci 2011;52:3854-3859 (abstract read; authors from memory)"
    ),
    "PCO04": (
        "Pennsylvania College of Optometry. Instructional resource plan on telescope training, 2004 "
        "(read in part)"
    ),
    "PELI08": "Peli E, Vargas-Martin F. J Biomed Opt 2008;13:034027, PMC2497448 (excerpt read)",
    "PELLI88": "Pelli DG, Robson JG, Wilkins AJ. Clin Vision Sci 1988 (abstract read; details from memory)",
    "PORTER93": (
        "Porter FI et al. Role of clinical factors in the outcome of low-vision rehabilitation with "
        "telescopic spectacles. Clin Vision Sci 1993;8:473-479 (abstract read)"
    ),
    "ROME-ETDRS": "University of Rome Tor Vergata, optics teaching, ETDRS conversion table for 4 m (read)",
    "ROSENTHAL": (
        "Rosenthal BP. Guide to spectacle-mounted telescopic lenses, undated chapter (excerpt read)"
    ),
    "ROSSER04": (
        "Rosser DA et al. 2004, repeatability of letter acuity with blur (quoted in a thesis chapter "
        "that was read)"
    ),
    "RYAN06": (
        "Ryan B, Margrain T. A course in low vision practice, part 5: Magnification. Optician, 20 "
        "January 2006 (read)"
    ),
    "SCHEIMAN": (
        "Scheiman M, Wick B. Clinical Management of Binocular Vision, expected values of Morgan (from memory)"
    ),
    "SCHULZE06": "Schulze-Bonsel K et al. Invest Ophthalmol Vis Sci 2006;47:1236-1240 (read in part)",
    "SCHWARTZ-11": "Schwartz SH. Geometrical and Visual Optics, 2nd ed., chapter 11 (single pages read)",
    "SCHWARTZ-12": "Schwartz SH. Geometrical and Visual Optics, 2nd ed., chapter 12 (single pages read)",
    "SCHWARTZ-A1": (
        "Schwartz SH. Geometrical and Visual Optics, 2nd ed., appendix A, p. 317 and fig. A-1 (read)"
    ),
    "SCHWARTZ-A2": "Schwartz SH. Geometrical and Visual Optics, 2nd ed., appendix A, fig. A-2 (read)",
    "SHEEDY84": (
        "Sheedy JE et al. 1984, luminance and letter acuity (quoted in a thesis chapter that was read)"
    ),
    "SHENKER87": (
        "Shenker M. Optical design criteria for binocular helmet-mounted displays. Proc SPIE 1987;778, "
        "doi 10.1117/12.940468 (abstract read)"
    ),
    "SMITH-289": "Smith WJ. Modern Optical Engineering, 4th ed., 2008, p. 289, eqs 13.1-13.4 (page read)",
    "SMITH-290": "Smith WJ. Modern Optical Engineering, 4th ed., 2008, p. 290, eqs 13.5-13.6 (page read)",
    "SMITH-296": "Smith WJ. Modern Optical Engineering, 4th ed., 2008, p. 296, example 13.1 (page read)",
    "SMITH-297": "Smith WJ. Modern Optical Engineering, 4th ed., 2008, p. 297, example 13.1 (page read)",
    "SMITH-298": (
        "Smith WJ. Modern Optical Engineering, 4th ed., 2008, p. 298, example 13.1, Galilean part (page read)"
    ),
    "SMITH91": (
        "Smith G. Relation between spherical refractive error and visual acuity. Optom Vis Sci "
        "1991;68:591-598 (abstract read: linear law; k = 0.65 and the root-sum-square form from memory)"
    ),
    "THAYAPARAN07": (
        "Thayaparan K, Crossland MD, Rubin GS. Br J Ophthalmol 2007, PMC1955579 (abstract read; authors "
        "from memory)"
    ),
    "TONG21": "Tong J et al. Optom Vis Sci 2021;98:310, PMC8051935 (excerpt read)",
    "TONKIN": (
        "Tonkin S. Binocular Astronomy, chapter on collimation, table 2.1 (excerpt read; attribution "
        "from memory)"
    ),
    "VANDENBOSCH97": (
        "Vanden Bosch ME, Wall M. Eye 1997;11:411-417, PMID 9373488 (abstract read; authors from memory)"
    ),
    "VIRGILI04": "Virgili G et al. Invest Ophthalmol Vis Sci 2004 (abstract read; details from memory)",
    "WATSON12": (
        "Watson AB, Yellott JI. A unified formula for light-adapted pupil size. J Vis 2012;12(10):12, "
        "doi 10.1167/12.10.12 (coefficients from independent public copies, not from the paper)"
    ),
    "WINN94": (
        "Winn B et al. Factors affecting light-adapted pupil size. Invest Ophthalmol Vis Sci "
        "1994;35:1132-1137, PMID 8125724 (abstract read)"
    ),
    "WLK93": (
        "Whittaker SG, Lovie-Kitchin J. Optom Vis Sci 1993;70:54-65 (abstract read; its table of "
        "reserves not seen)"
    ),
    "WLK94": (
        "Whittaker SG, Lovie-Kitchin JE. The assessment of contrast sensitivity and contrast reserve for"
        " reading rehabilitation. In: Kooijman et al. (eds) Low Vision: Research and New Developments in"
        " Rehabilitation. IOS Press 1994, pp. 88-92 (abstract read)"
    ),
    "YOHO09": "Yoho A. Fitting low-vision telescopes, dispensing column, January 2009 (read)",
    "YU23": (
        "Yu D, Watson E. Binocular summation in high and low contrast letter acuities. Front Neurosci "
        "2023;17:1174900, doi 10.3389/fnins.2023.1174900 (abstract read)"
    ),
}


def citation(key: str) -> str:
    """The citation of a source, or the key itself when it is not in the list (shown, never raised)."""
    return SOURCES.get(key, key)
