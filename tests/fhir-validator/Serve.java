import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.rest.annotation.Transaction;
import ca.uhn.fhir.rest.annotation.TransactionParam;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.exceptions.UnprocessableEntityException;
import ca.uhn.fhir.rest.server.interceptor.RequestValidatingInterceptor;
import ca.uhn.fhir.rest.server.provider.HashMapResourceProvider;
import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.util.HashMap;
import java.util.Map;
import java.util.UUID;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Resource;

/**
 * A FHIR R4 server on the loopback, to be sent to: HAPI FHIR's own REST server with its in-memory
 * store. Each request is parsed and validated by HAPI before it is taken.
 *
 * <p>Its in-memory store knows no transactions, so they are taken apart here: the conditional
 * create and update of the FHIR specification (R4, 3.1.0.7.1 and 3.1.0.8.1), and nothing more.
 *
 * <p>Prints the base address as its first line, and ends with its standard input.
 */
class Serve {
    public static void main(String[] arguments) throws Exception {
        FhirContext context = FhirContext.forR4();
        RestfulServer fhir = new RestfulServer(context);
        HashMapResourceProvider<Patient> patients =
                new HashMapResourceProvider<>(context, Patient.class);
        HashMapResourceProvider<Observation> observations =
                new HashMapResourceProvider<>(context, Observation.class);
        fhir.registerProviders(patients, observations, new Transactions(patients, observations));
        fhir.registerInterceptor(validating(context));

        Server server = new Server();
        ServerConnector connector = new ServerConnector(server);
        connector.setHost("127.0.0.1");
        server.addConnector(connector);
        ServletContextHandler handler = new ServletContextHandler("/");
        handler.addServlet(new ServletHolder(fhir), "/fhir/*");
        server.setHandler(handler);
        server.start();
        System.out.println("http://127.0.0.1:" + connector.getLocalPort() + "/fhir");
        System.in.read();
        System.exit(0);
    }

    private static RequestValidatingInterceptor validating(FhirContext context) {
        UnknownCodeSystemWarningValidationSupport unknown =
                new UnknownCodeSystemWarningValidationSupport(context);
        unknown.setNonExistentCodeSystemSeverity(IValidationSupport.IssueSeverity.WARNING);
        FhirInstanceValidator instance =
                new FhirInstanceValidator(
                        new ValidationSupportChain(
                                new DefaultProfileValidationSupport(context),
                                new SnapshotGeneratingValidationSupport(context),
                                new CommonCodeSystemsTerminologyService(context),
                                new InMemoryTerminologyServerValidationSupport(context),
                                unknown));
        instance.setErrorForUnknownProfiles(true);
        RequestValidatingInterceptor interceptor = new RequestValidatingInterceptor();
        interceptor.addValidatorModule(instance);
        return interceptor;
    }

    /** Takes transactions apart. */
    public static class Transactions {
        private final HashMapResourceProvider<Patient> patients;
        private final HashMapResourceProvider<Observation> observations;

        Transactions(
                HashMapResourceProvider<Patient> patients,
                HashMapResourceProvider<Observation> observations) {
            this.patients = patients;
            this.observations = observations;
        }

        @Transaction
        public synchronized Bundle transaction(@TransactionParam Bundle bundle) {
            Bundle answer = new Bundle();
            answer.setType(Bundle.BundleType.TRANSACTIONRESPONSE);
            Map<String, String> places = new HashMap<>();
            for (BundleEntryComponent entry : bundle.getEntry()) {
                if (entry.getResource() instanceof Patient patient) {
                    String query = entry.getRequest().getIfNoneExist();
                    Resource there = find(patients, query);
                    String id = there == null ? UUID.randomUUID().toString() : id(there);
                    if (there == null) {
                        patient.setId(id);
                        patients.store(patient);
                    }
                    places.put(entry.getFullUrl(), "Patient/" + id);
                    said(answer, there);
                } else if (entry.getResource() instanceof Observation observation) {
                    String url = entry.getRequest().getUrl();
                    if (!url.startsWith("Observation?")) {
                        throw new UnprocessableEntityException("no conditional update: " + url);
                    }
                    Resource there = find(observations, url.substring("Observation?".length()));
                    String subject = places.get(observation.getSubject().getReference());
                    if (subject == null) {
                        throw new UnprocessableEntityException("the subject is not in the bundle");
                    }
                    observation.getSubject().setReference(subject);
                    observation.setId(there == null ? UUID.randomUUID().toString() : id(there));
                    observations.store(observation);
                    said(answer, there);
                } else {
                    throw new UnprocessableEntityException("neither Patient nor Observation");
                }
            }
            return answer;
        }

        private static void said(Bundle answer, Resource there) {
            answer.addEntry().getResponse().setStatus(there == null ? "201 Created" : "200 OK");
        }

        private static String id(Resource it) {
            return it.getIdElement().getIdPart();
        }

        /** The one resource with the identifier of "identifier=system|value". */
        private static <T extends Resource> T find(HashMapResourceProvider<T> in, String query) {
            String prefix = "identifier=";
            if (query == null || !query.startsWith(prefix)) {
                throw new UnprocessableEntityException("no query by identifier: " + query);
            }
            String token =
                    URLDecoder.decode(query.substring(prefix.length()), StandardCharsets.UTF_8);
            String[] parts = token.split("\\|", 2);
            T found = null;
            for (T it : in.getStoredResources()) {
                for (var base : it.getNamedProperty("identifier").getValues()) {
                    Identifier own = (Identifier) base;
                    if (own.getSystem().equals(parts[0]) && own.getValue().equals(parts[1])) {
                        if (found != null && found != it) {
                            throw new UnprocessableEntityException("two have " + token);
                        }
                        found = it;
                    }
                }
            }
            return found;
        }
    }
}
