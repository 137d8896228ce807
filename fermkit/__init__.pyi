from .aeration import ethanol_carried_out as ethanol_carried_out, oxygen_transfer as oxygen_transfer, water_carried_out as water_carried_out
from .alcohol import ethanol_density as ethanol_density, ethanol_mass_concentration as ethanol_mass_concentration, ethanol_mass_fraction as ethanol_mass_fraction, ethanol_molar_concentration as ethanol_molar_concentration, ethanol_pct_vol as ethanol_pct_vol, ethanol_pct_vol_from_concentration as ethanol_pct_vol_from_concentration
from .analysis import Analysis as Analysis, analyse as analyse
from .balance import Balance as Balance
from .between_groups import PooledEstimate as PooledEstimate, pooled as pooled
from .budget import Budget as Budget, budget_of as budget_of
from .calibration import Calibration as Calibration, fit_calibration as fit_calibration
from .cautions import cautions_for as cautions_for
from .cell_counts import CountingNoise as CountingNoise, counting_noise as counting_noise
from .collector import gas_from_bubbles as gas_from_bubbles, gas_from_flow as gas_from_flow, gas_from_volume as gas_from_volume
from .comparison import CurveComparison as CurveComparison, compare_curves as compare_curves
from .composition import atoms as atoms, compound as compound, degree_of_reduction as degree_of_reduction, element_matrix as element_matrix, molar_mass as molar_mass
from .density import MixedMeasurement as MixedMeasurement, convert_ethanol as convert_ethanol, density_change as density_change, hydrometer_density as hydrometer_density, residual_sugar as residual_sugar, sugar_left as sugar_left, weighed_density as weighed_density
from .dilutions import DilutionSeries as DilutionSeries, dilution_series as dilution_series
from .drift import bracket as bracket, fit_calibrations as fit_calibrations
from .dry_matter import constant_weight as constant_weight, moisture_on_dry_basis as moisture_on_dry_basis, moisture_on_wet_basis as moisture_on_wet_basis, solids as solids
from .drying import drying_curve as drying_curve
from .errors import BalanceError as BalanceError, DoubtfulResult as DoubtfulResult, FermkitError as FermkitError, FitError as FitError, InputError as InputError
from .feed import Feed as Feed, YeastLimits as YeastLimits, feed as feed, yeast_limits as yeast_limits
from .fitted import GrowthFit as GrowthFit
from .gas import GasCurve as GasCurve, RouteComparison as RouteComparison, compare_routes as compare_routes, produced as produced
from .growth import fit_growth as fit_growth
from .harvest import carried_solids as carried_solids, net_yeast as net_yeast, protein as protein, recovery as recovery
from .headspace import gas_from_pressure as gas_from_pressure
from .hold import hold_log as hold_log
from .ingredients import Ingredient as Ingredient, ingredient as ingredient, ingredient_from as ingredient_from, ingredient_names as ingredient_names, kitchen_measure as kitchen_measure, syrup as syrup
from .linearity import grubbs_test as grubbs_test, mandel_test as mandel_test
from .many import fit_growth_many as fit_growth_many
from .nutrients import Nutrients as Nutrients, nutrients_for as nutrients_for
from .pathways import Fate as Fate, sugar_fate as sugar_fate
from .phases import specific_growth_rate as specific_growth_rate
from .plan import BatchPlan as BatchPlan, co2_held as co2_held, plan_batch as plan_batch
from .properties import bicarbonate_factor as bicarbonate_factor, co2_compressibility as co2_compressibility, co2_henry as co2_henry, co2_second_virial as co2_second_virial, co2_solubility as co2_solubility, o2_solubility as o2_solubility, plato_from_sg as plato_from_sg, sucrose_density as sucrose_density, water_density as water_density, water_vapour_pressure as water_vapour_pressure
from .readback import Reading as Reading, dilution_factor as dilution_factor
from .records import Run as Run, read_run as read_run, run_from as run_from, write_run as write_run, write_workbook as write_workbook
from .repeatability import Precision as Precision, precision as precision, robust_mean as robust_mean
from .report import html_report as html_report, write_report as write_report
from .runs import RunComparison as RunComparison, compare_runs as compare_runs
from .smoothing import smooth_growth as smooth_growth
from .steps import calibration_of as calibration_of, samples_of as samples_of, vessel_of as vessel_of
from .streams import LinearMeasurement as LinearMeasurement
from .surroundings import vapour_ratio as vapour_ratio
from .template import run_format as run_format, write_template as write_template
from .two_waves import fit_two_waves as fit_two_waves
from .vents import Vents as Vents, find_vents as find_vents
from .vessel import Vessel as Vessel
from .ways import Ways as Ways, plan_ways as plan_ways
from .weighing import gas_from_weight as gas_from_weight
from .workshop import ClassKit as ClassKit, ClassMarks as ClassMarks, ClassPool as ClassPool, GroupFolder as GroupFolder, make_class as make_class, open_group as open_group
from .written import percent as percent, plus_minus as plus_minus
from .yields import UncertaintyShares as UncertaintyShares, Yield as Yield
