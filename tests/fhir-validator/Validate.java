import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import ca.uhn.fhir.validation.SingleValidationMessage;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;

/**
 * Validates FHIR R4 resources with HAPI FHIR's instance validator, offline.
 *
 * <p>Each argument is a JSON file with one resource, or an NDJSON file with one a line. Every message
 * is one line of standard output: file, line, severity, place and text, parted by tabs. The last line
 * says how many resources were checked.
 *
 * <p>Checked: structure, the profiles of the R4 core specification with their invariants and
 * required bindings, UCUM, and the code systems that the specification carries. Not checked, since
 * no terminology server is asked: whether a LOINC or SNOMED CT code exists.
 */
class Validate {
    public static void main(String[] files) throws Exception {
        FhirContext context = FhirContext.forR4();
        UnknownCodeSystemWarningValidationSupport unknown =
                new UnknownCodeSystemWarningValidationSupport(context);
        unknown.setNonExistentCodeSystemSeverity(
                ca.uhn.fhir.context.support.IValidationSupport.IssueSeverity.WARNING);
        ValidationSupportChain support =
                new ValidationSupportChain(
                        new DefaultProfileValidationSupport(context),
                        new SnapshotGeneratingValidationSupport(context),
                        new CommonCodeSystemsTerminologyService(context),
                        new InMemoryTerminologyServerValidationSupport(context),
                        unknown);
        FhirInstanceValidator instance = new FhirInstanceValidator(support);
        // A profile that is named and not known is an error, not something to pass over.
        instance.setErrorForUnknownProfiles(true);
        instance.setAnyExtensionsAllowed(false);
        FhirValidator validator = context.newValidator().registerValidatorModule(instance);

        int resources = 0;
        for (String file : files) {
            List<String> texts = new ArrayList<>();
            if (file.endsWith(".ndjson")) {
                texts.addAll(Files.readAllLines(Path.of(file)));
            } else {
                texts.add(Files.readString(Path.of(file)));
            }
            int line = 0;
            for (String text : texts) {
                line += 1;
                resources += 1;
                for (SingleValidationMessage message : validator.validateWithResult(text).getMessages()) {
                    if (message.getSeverity() == ResultSeverityEnum.INFORMATION) {
                        continue;
                    }
                    System.out.printf(
                            "%s\t%d\t%s\t%s\t%s%n",
                            file,
                            line,
                            message.getSeverity(),
                            message.getLocationString(),
                            message.getMessage().replaceAll("\\s+", " "));
                }
            }
        }
        System.out.printf("checked %d resources%n", resources);
    }
}
